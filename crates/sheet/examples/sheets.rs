//! Writes sheets of the demo catalogue into a directory, to be looked at: every radio in every vehicle line and audio option
//! whose names hold the given words, or all of them.
//!
//! `cargo run -p dashwright-sheet --example sheets -- DIRECTORY [VEHICLE [RADIO]]`

use std::error::Error;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use dashwright_model::exchange;
use dashwright_planner::{Request, one_by_one, plan};
use dashwright_sheet::{Paper, Revision, SheetInput, bench_sheet};
use dashwright_snapshot::identify::YearSet;
use dashwright_snapshot::{Candidate, LineIx, Snapshot, SourceRecord};

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let directory = arguments.next().ok_or("name a directory")?;
    let (vehicle, radio) = (arguments.next().unwrap_or_default(), arguments.next().unwrap_or_default());
    let snapshot = snapshot()?;
    std::fs::create_dir_all(&directory)?;
    let (mut count, mut bytes, mut most, mut took) = (0_u32, 0, 0, Duration::ZERO);
    let radios: Vec<_> =
        snapshot.radios().iter().filter(|(_, own)| own.id.as_str().contains(&radio)).collect();
    for (number, line) in (0..).zip(snapshot.lines()) {
        let id = snapshot.line_id(line);
        let options: Vec<u16> = (0..).take(snapshot.options_of(line).len()).collect();
        let whole =
            Candidate { line: LineIx::new(number), options, years: YearSet::default(), likeness: 100 };
        for (place, candidate) in one_by_one(&[whole]).into_iter().enumerate() {
            let name = format!("{id}-{place}");
            if !name.contains(&vehicle) {
                continue;
            }
            let candidates = [candidate];
            for (index, own) in &radios {
                let plans = plan(&snapshot, &candidates, *index, &Request::default());
                let [group] = plans.groups.as_slice() else { return Err("not one plan".into()) };
                let revision = Revision { number: 1, token: "demo.1", content_hash: "0000" };
                let input = SheetInput {
                    snapshot: &snapshot,
                    candidates: &candidates,
                    radio: *index,
                    plan: &group.plan,
                    weakest: plans.weakest.as_ref(),
                    revision,
                    fingerprint: "0123abcd",
                    paper: Paper::A4,
                };
                let start = Instant::now();
                let page = bench_sheet(&input)?;
                took += start.elapsed();
                (count, bytes, most) = (count + 1, bytes + page.len(), most.max(page.len()));
                std::fs::write(Path::new(&directory).join(format!("{name}-{}.html", own.id)), page)?;
            }
        }
    }
    println!("{count} sheets, {bytes} bytes, the largest {most}, rendered in {took:?}");
    Ok(())
}

fn snapshot() -> Result<Snapshot, Box<dyn Error>> {
    let sources = dashwright_demo::records()?
        .into_iter()
        .map(|record| Ok(SourceRecord { text: Arc::from(exchange::to_line(&record)?), revision: 1 }));
    Ok(Snapshot::build(sources.collect::<Result<Vec<_>, Box<dyn Error>>>()?)?)
}
