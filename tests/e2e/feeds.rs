//! Direct feeds over a socket: worked out by hand, and every field that is none is named.

use dashwright_api::v1;
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Home, Running};
use v1::size_feed_request::Load;
use v1::size_feed_response::Outcome;

fn request(load: Load) -> v1::SizeFeedRequest {
    v1::SizeFeedRequest {
        load: Some(load),
        volts: 12.0,
        length_metres: 4.0,
        returns: v1::FeedReturn::Wire.into(),
        system: v1::ConductorSystem::SquareMillimetres.into(),
        ..v1::SizeFeedRequest::default()
    }
}

/// By hand: 15 A over twice 4 m may lose 3 % of 12 V, so that 8 m / (58 × 0.024 Ω) = 5.747 mm² are needed; 18.75 A take 20 A.
#[tokio::test(flavor = "multi_thread")]
async fn a_feed_is_sized_without_a_dataset() {
    let home = Home::new("feeds").unwrap();
    let running = Running::start(&home).await.unwrap();
    let mut client = running.fitment.clone();
    for load in [Load::Amperes(15.0), Load::Watts(180.0)] {
        let answer = client.size_feed(request(load)).await.unwrap().into_inner();
        let inputs = answer.inputs.unwrap();
        assert_eq!((inputs.amperes, inputs.allowed_drop_percent, inputs.fuse_factor), (15.0, 3.0, 1.25));
        assert_eq!((inputs.ambient_celsius, inputs.insulation_celsius), (20.0, 70.0));
        let Some(Outcome::Feed(feed)) = answer.outcome else { panic!("no feed") };
        let laid = feed.conductor.unwrap();
        assert_eq!(
            (laid.size.as_str(), feed.fuse_amperes, feed.fuse_colour.as_str()),
            ("6 mm2", 20.0, "yellow")
        );
        assert!((laid.drop_volts - 15.0 * 8.0 / (58.0 * 6.0)).abs() < 1e-9);
        let thinner = feed.thinner.unwrap();
        assert_eq!((thinner.conductor.unwrap().size.as_str(), thinner.loses_too_much), ("5 mm2", true));
        let told: Vec<_> = answer.cautions.iter().map(v1::Caution::code).collect();
        assert!(told.contains(&v1::CautionCode::Fuses) && told.contains(&v1::CautionCode::BatteryOff));
    }
    let far = v1::SizeFeedRequest { length_metres: 100.0, ..request(Load::Amperes(60.0)) };
    let answer = client.size_feed(far).await.unwrap().into_inner();
    let Some(Outcome::None(none)) = answer.outcome else { panic!("a feed") };
    assert!(none.thickest.unwrap().loses_too_much);
    let answer = client.size_feed(request(Load::Amperes(90.0))).await.unwrap().into_inner();
    let Some(Outcome::None(none)) = answer.outcome else { panic!("a feed") };
    assert_eq!((none.no_fuse_for_amperes, none.thickest), (112.5, None));
}

#[tokio::test(flavor = "multi_thread")]
async fn every_number_that_is_none_is_told() {
    let home = Home::new("feeds").unwrap();
    let running = Running::start(&home).await.unwrap();
    let mut client = running.fitment.clone();
    let nothing = client.size_feed(v1::SizeFeedRequest::default()).await.unwrap_err();
    assert_eq!(Refused::of(&nothing).paths, ["volts", "load", "length_metres", "returns", "system"]);
    let nonsense = v1::SizeFeedRequest {
        volts: f64::NAN,
        length_metres: -1.0,
        returns: 9,
        system: 9,
        ambient_celsius: Some(1e9),
        allowed_drop_percent: Some(101.0),
        fuse_factor: Some(0.9),
        insulation_celsius: Some(f64::INFINITY),
        ..request(Load::Watts(f64::NEG_INFINITY))
    };
    let told = Refused::of(&client.size_feed(nonsense).await.unwrap_err());
    assert_eq!(told.paths.len(), 9, "{:?}", told.paths);
}
