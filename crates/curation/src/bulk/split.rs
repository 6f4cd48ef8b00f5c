//! Splitting a vehicle line: the earlier part keeps the id, the later one gets a new one, and nothing of it is lost between.

use dashwright_model::Valid;
use dashwright_model::record::setting::Setting;
use dashwright_model::record::vehicle::{Attribute, BuildWindow, Vehicle};
use dashwright_model::record::{Part, Record, RecordKind};
use dashwright_model::{Scope, VehicleScope};
use dashwright_quantity::{VehicleId, YearSpan};
use dashwright_snapshot::describes_line;

use super::{BulkError, BulkOutcome, Drafted, Remark, SplitAt, Touch, key_of, line_key, sound};

impl Drafted<'_> {
    pub(super) fn split(
        &self,
        line: &VehicleId,
        at: &SplitAt,
        new_line: &VehicleId,
    ) -> Result<BulkOutcome, BulkError> {
        let (key, new_key) = (line_key(line), line_key(new_line));
        let Record::Vehicle(whole) = self.get(&key)? else { return Err(BulkError::NoRecord(key)) };
        self.refuse_existing(&new_key)?;
        let (before, after) = halves(&whole, at).ok_or_else(|| BulkError::NotWithin(key.clone()))?;
        let field = match at {
            SplitAt::ModelYear(_) => "years",
            SplitAt::BuildMonth { .. } => "build",
        };
        let before = sound(&key, Valid::new(before))?;
        let after = sound(&new_key, Valid::new(Vehicle { id: new_line.clone(), ..after }))?;
        let mut outcome = BulkOutcome::default();
        outcome.touch(&key, Touch::Shortened, vec![field.to_owned()]);
        outcome.touch(&new_key, Touch::Made, Vec::new());
        if !whole.vin_patterns.is_empty() {
            outcome.remark(&new_key, Remark::SharesVinPatterns, "vin_patterns");
        }
        for part in self.with_text(&[RecordKind::Part], whole.make.as_str())? {
            let part_key = key_of(&part)?;
            let Record::Part(part) = part else { continue };
            for path in holding_for_one_half(&part, &whole, &before, &after) {
                outcome.remark(&part_key, Remark::HoldsForOneHalf, path);
            }
        }
        outcome.own.extend([Record::Vehicle(before), Record::Vehicle(after)]);
        Ok(outcome)
    }
}

/// The line up to the place and from it on; nothing where one of them would be empty.
fn halves(whole: &Vehicle, at: &SplitAt) -> Option<(Vehicle, Vehicle)> {
    let (mut before, mut after) = (whole.clone(), whole.clone());
    match at {
        SplitAt::ModelYear(year) => {
            let last = year.previous()?;
            before.years = YearSpan::new(whole.years.from(), last).ok()?;
            after.years = YearSpan::new(*year, whole.years.to()).ok()?;
        }
        SplitAt::BuildMonth { month, how_to_tell } => {
            let window = whole.build.unwrap_or(BuildWindow { from: None, to: None });
            let last = month.previous()?;
            let has_both =
                window.from.is_none_or(|from| from <= last) && window.to.is_none_or(|to| *month <= to);
            if !has_both {
                return None;
            }
            before.build = Some(BuildWindow { from: window.from, to: Some(last) });
            after.build = Some(BuildWindow { from: Some(*month), to: window.to });
            if let Some(words) = how_to_tell {
                for half in [&mut before, &mut after] {
                    half.how_to_tell.insert(Attribute::BuildMonth, words.clone());
                }
            }
        }
    }
    Some((before, after))
}

/// The statements and settings whose scope describes one half, and did not describe the line as it was.
fn holding_for_one_half(part: &Part, whole: &Vehicle, before: &Vehicle, after: &Vehicle) -> Vec<String> {
    let news = |scope: &VehicleScope| {
        !describes_line(scope, whole) && describes_line(scope, before) != describes_line(scope, after)
    };
    let any = |scope: &Scope| scope.items().iter().flat_map(|item| &item.vehicles).any(news);
    let covers = part.covers.iter().enumerate().filter(|(_, cover)| any(&cover.scope));
    let covers = covers.map(|(index, _)| format!("covers.{index}.scope"));
    let settings = part.settings.iter().enumerate();
    let settings = settings.filter(|(_, setting)| Setting::scopes(setting).any(any));
    covers.chain(settings.map(|(index, _)| format!("settings.{index}"))).collect()
}
