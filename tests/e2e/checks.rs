//! Checks of a plan over a socket: figures with their units, rules of the caller's own, and nonsense told by field.

use dashwright_api::v1;
use dashwright_tests::refused::Refused;
use dashwright_tests::service::Running;

fn asking(rules: Option<v1::CheckRules>) -> v1::PlanInstallRequest {
    let vehicle = v1::VehicleQuestion {
        model_year: 2015,
        make: "Orvane".to_owned(),
        model: "Tamsel".to_owned(),
        audio_option: "B6".to_owned(),
        ..Default::default()
    };
    v1::PlanInstallRequest {
        vehicle: Some(vehicle),
        radio_id: "sonquill-rowan-2".to_owned(),
        order: Some(v1::Order { rules, ..Default::default() }),
        ..Default::default()
    }
}

async fn checks(running: &Running, rules: Option<v1::CheckRules>) -> Vec<v1::Check> {
    let answer = running.fitment.clone().plan_install(asking(rules)).await.unwrap().into_inner();
    assert!(answer.depends.is_empty());
    answer.settled.unwrap().checks
}

fn of(checks: &[v1::Check], kind: v1::CheckKind) -> &v1::Check {
    checks.iter().find(|check| check.kind() == kind).unwrap()
}

fn value(figures: &[v1::Figure], name: &str) -> (f64, String) {
    let found = figures.iter().find(|figure| figure.name == name);
    let found = found.unwrap_or_else(|| panic!("no {name} in {figures:?}"));
    (found.value, found.unit.clone())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_tells_its_numbers_and_takes_rules() {
    let (_home, running) = Running::demo().await.unwrap();
    let usual = checks(&running, None).await;
    let kinds: Vec<_> = usual.iter().map(v1::Check::kind).collect();
    assert!(kinds.is_sorted(), "{kinds:?}");
    for check in &usual {
        assert!(!check.formula.is_empty() && !check.text.is_empty(), "{check:?}");
        assert_ne!(check.outcome(), v1::CheckOutcome::Unspecified);
        assert_eq!(check.outcome() == v1::CheckOutcome::NoData, check.margin.is_none(), "{check:?}");
    }
    let standby = of(&usual, v1::CheckKind::Standby);
    assert_eq!(value(&standby.settings, "days at rest"), (14.0, "d".to_owned()));
    let drawn = value(&standby.results, "sum of standby currents").0;

    // 50 Ah × 30 % = 15 Ah; by the sum of the currents, so many days, and twice the battery twice as many.
    let days = |checks: &[v1::Check]| {
        value(&of(checks, v1::CheckKind::Standby).results, "days until the share is gone").0
    };
    assert!((days(&usual) - 15_000.0 / (drawn * 24.0)).abs() < 1e-6);
    let rules = v1::CheckRules {
        battery_ampere_hours: Some(100.0),
        standby_days: Some(10_000.0),
        ..Default::default()
    };
    let larger = checks(&running, Some(rules)).await;
    assert!((days(&larger) - 2.0 * days(&usual)).abs() < 1e-6);
    assert_eq!(of(&larger, v1::CheckKind::Standby).outcome(), v1::CheckOutcome::Advise);
    assert_eq!(of(&larger, v1::CheckKind::Depth), of(&usual, v1::CheckKind::Depth));
}

#[tokio::test(flavor = "multi_thread")]
async fn rules_that_are_none_are_told_by_field() {
    let (_home, running) = Running::demo().await.unwrap();
    let rules = v1::CheckRules {
        depth_bending_mm: Some(f64::NAN),
        screen_reach_gap_mm: Some(-1.0),
        supply_share_percent: Some(101.0),
        feed_returns: 9,
        feed_fuse_factor: Some(0.5),
        battery_ampere_hours: Some(f64::INFINITY),
        pull_up_tolerance_percent: Some(1e300),
        ..Default::default()
    };
    let refused = running.fitment.clone().plan_install(asking(Some(rules))).await.unwrap_err();
    let wrong = [
        "depth_bending_mm",
        "screen_reach_gap_mm",
        "supply_share_percent",
        "feed_returns",
        "feed_fuse_factor",
        "battery_ampere_hours",
        "pull_up_tolerance_percent",
    ];
    assert_eq!(Refused::of(&refused).paths, wrong.map(|name| format!("order.rules.{name}")));
}
