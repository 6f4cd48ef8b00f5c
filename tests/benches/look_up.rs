//! What identifying and looking up cost inside the process, with 150 and with 150,000 lines:
//! `cargo bench -p dashwright-tests --bench look_up`.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use dashwright_model::exchange::to_line;
use dashwright_model::question::VehicleQuestion;
use dashwright_model::record::{Record, Vehicle};
use dashwright_planner::{look_up, one_by_one};
use dashwright_snapshot::{Snapshot, SourceRecord};

/// Vehicle lines of the smaller and of the larger dataset.
const SIZES: [usize; 2] = [150, 150_000];

/// A dataset of so many generated lines, and a question that names one in their middle.
fn dataset(lines: usize) -> Option<(Snapshot, VehicleQuestion)> {
    let records: Vec<Record> = dashwright_demo::scaled(lines).collect();
    let generated = records.iter().filter_map(|record| match record {
        Record::Vehicle(line) if line.id.as_str().starts_with("gen-") => Some(&**line),
        _ => None,
    });
    let line: &Vehicle = generated.collect::<Vec<_>>().get(lines / 2)?;
    let make = records.iter().find_map(|record| match record {
        Record::Vocabulary(term) if term.id == line.make => Some(term.name.clone()),
        _ => None,
    });
    let question = VehicleQuestion {
        model_year: Some(line.years.from()),
        make,
        model: Some(line.model.clone()),
        ..VehicleQuestion::default()
    };
    let sources = records.iter().filter_map(|record| {
        let text = Arc::from(to_line(record).ok()?);
        Some(SourceRecord { text, revision: 1 })
    });
    Some((Snapshot::build(sources.collect()).ok()?, question))
}

fn benches(criterion: &mut Criterion) {
    for lines in SIZES {
        let Some((snapshot, question)) = dataset(lines) else { continue };
        criterion.bench_with_input(BenchmarkId::new("identify", lines), &question, |bencher, question| {
            bencher.iter(|| snapshot.identify(black_box(question)));
        });
        criterion.bench_with_input(
            BenchmarkId::new("look up afresh", lines),
            &question,
            |bencher, question| {
                bencher.iter(|| {
                    let found = snapshot.identify(black_box(question));
                    found.map(|found| look_up(&snapshot, &one_by_one(&found.candidates)))
                });
            },
        );
    }
}

criterion_group!(look_ups, benches);
criterion_main!(look_ups);
