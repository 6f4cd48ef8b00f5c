//! What callers type of a vehicle, asked of the demo catalogue.

use std::sync::{Arc, LazyLock};

use dashwright_model::exchange::{parse_line, to_line};
use dashwright_model::question::VehicleQuestion;
use dashwright_model::vin::Vin;
use dashwright_planner::look_up;
use dashwright_quantity::{Label, ModelYear};
use dashwright_snapshot::{Snapshot, SourceRecord};

static DEMO: LazyLock<Snapshot> = LazyLock::new(|| {
    let lines = dashwright_demo::lines().map(|(_, number, text)| {
        let record = parse_line(text.as_bytes(), number).expect("a record");
        SourceRecord { text: Arc::from(to_line(&record).expect("a record has a line")), revision: 1 }
    });
    Snapshot::build(lines.collect()).expect("the demo catalogue")
});

/// A question, whose fields are the lines of a text, is answered within bounds or refused with words.
pub(crate) fn hold(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let fields: Vec<&str> = text.split('\n').collect();
    let field = |index: usize| fields.get(index).copied().unwrap_or_default();
    let label = |index: usize| Label::new(field(index)).ok();
    let question = VehicleQuestion {
        words: label(0),
        vin: Vin::parse(field(1)).ok(),
        model_year: field(2).parse().ok().and_then(|year: i64| ModelYear::new(year).ok()),
        make: label(3),
        model: label(4),
        trim: label(5),
        build_month: field(6).parse().ok(),
        market: label(7),
        drive_side: field(8).parse().ok(),
        body: label(9),
        drivetrain: label(10),
        audio_option: label(11),
    };
    match DEMO.identify(&question) {
        Ok(found) => {
            assert!(!found.candidates.is_empty() && found.total >= found.candidates.len());
            assert!(found.candidates.len() <= dashwright_snapshot::MAX_CANDIDATES);
            assert!(found.candidates.iter().all(|it| !it.years.is_empty() && !it.options.is_empty()));
            let _ = look_up(&DEMO, found.candidates.get(..3).unwrap_or(&found.candidates));
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
    let _ = DEMO.choices(&question);
    assert!(DEMO.search(text, &[], 20).len() <= 20);
}
