//! What plans, carts and reverse questions cost inside the process, on the demo catalogue:
//! `cargo bench -p dashwright-tests --bench plan`.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, criterion_group, criterion_main};
use dashwright_model::exchange::to_line;
use dashwright_model::question::VehicleQuestion;
use dashwright_planner::{
    CartItem, CartLine, Request, check_cart, one_by_one, plan, plan_case, radios_for_vehicle,
};
use dashwright_quantity::{Label, ModelYear};
use dashwright_snapshot::{Candidate, Snapshot, SourceRecord};

fn snapshot() -> Option<Snapshot> {
    let records = dashwright_demo::records().ok()?;
    let sources = records.iter().filter_map(|record| {
        let text = Arc::from(to_line(record).ok()?);
        Some(SourceRecord { text, revision: 1 })
    });
    Snapshot::build(sources.collect()).ok()
}

/// A vehicle line with two audio options.
fn candidates(snapshot: &Snapshot) -> Option<Vec<Candidate>> {
    let question = VehicleQuestion {
        model_year: ModelYear::new(2015).ok(),
        make: Label::new("Orvane").ok(),
        model: Label::new("Quarrow").ok(),
        trim: Label::new("Lane").ok(),
        ..VehicleQuestion::default()
    };
    Some(one_by_one(&snapshot.identify(&question).ok()?.candidates))
}

fn benches(criterion: &mut Criterion) {
    let Some(snapshot) = snapshot() else { return };
    let Some(candidates) = candidates(&snapshot) else { return };
    let Some((radio, _)) = snapshot.radios().find("sonquill-rowan-2") else { return };
    let request = Request::default();
    let cases: Vec<_> = snapshot.lines().iter().flat_map(|line| snapshot.options_of(line)).collect();
    let mut turn = cases.iter().cycle();
    criterion.bench_function("plan of one case, all cases in turn", |bencher| {
        bencher
            .iter(|| turn.next().map(|option| plan_case(&snapshot, option.case, radio, black_box(&request))));
    });
    criterion.bench_function("plan of two candidates", |bencher| {
        bencher.iter(|| plan(&snapshot, black_box(&candidates), radio, &request));
    });
    let part = |id: &str| snapshot.parts().find(id).map(|(part, _)| CartItem::Part(part));
    let items = ["hwk-210", "mw-12", "qm-7.241"].into_iter().filter_map(part);
    let lines: Vec<CartLine> = items.map(|item| CartLine { item, quantity: 1 }).collect();
    criterion.bench_function("cart of three lines", |bencher| {
        bencher.iter(|| check_cart(&snapshot, black_box(&candidates), Some(radio), &request, &lines));
    });
    criterion.bench_function("radios for a vehicle", |bencher| {
        bencher.iter(|| radios_for_vehicle(&snapshot, black_box(&candidates), &request));
    });
}

criterion_group!(plans, benches);
criterion_main!(plans);
