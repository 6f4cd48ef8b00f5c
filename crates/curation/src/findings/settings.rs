//! Settings that are set twice, or by nothing, for some pair of radio and vehicle.

use std::collections::BTreeMap;

use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_planner::{FaultySetting, SettingFault, setting_faults};
use dashwright_snapshot::Snapshot;

use super::{Finding, FindingKind};

/// One finding for each thing that is wrong with a setting, with the first pair for which it is, and how many there are.
pub(super) fn find(snapshot: &Snapshot, found: &mut Vec<Finding>) {
    let mut faults: BTreeMap<(RecordKey, String), (FaultySetting, usize)> = BTreeMap::new();
    for faulty in setting_faults(snapshot) {
        let record = RecordKey { kind: RecordKind::Part, id: faulty.part.as_term() };
        let path = path_of(snapshot, &faulty);
        faults.entry((record, path)).or_insert((faulty, 0)).1 += 1;
    }
    for ((record, path), (faulty, pairs)) in faults {
        let FaultySetting { part: _, radio, case, fault } = &faulty;
        let (kind, words) = match fault {
            SettingFault::Twice { setting, switch, rules: (one, other) } => (
                FindingKind::SetTwice,
                format!("sets switch {switch} of `{setting}` by rules {one} and {other} differently"),
            ),
            SettingFault::Never { setting, switch } => (
                FindingKind::NeverSet,
                format!("sets switch {switch} of `{setting}` by no rule and no default"),
            ),
            SettingFault::SelectorTwice { setting, rules: (one, other) } => (
                FindingKind::SetTwice,
                format!("sets `{setting}` by rules {one} and {other}, of which one at most may hold"),
            ),
            SettingFault::SelectorNever { setting } => {
                (FindingKind::NeverSet, format!("sets `{setting}` by no rule and no default"))
            }
        };
        let audio = snapshot.case(*case).and_then(|case| snapshot.audios().get(case.audio));
        let audio = audio.map(|audio| audio.id.to_string()).unwrap_or_default();
        let more = if pairs > 1 { format!(" and {} more pairs", pairs - 1) } else { String::new() };
        let text = format!("`{record}` {words}, with `radio/{radio}` on `factory_audio/{audio}`{more}");
        let other = Some(RecordKey { kind: RecordKind::Radio, id: radio.as_term() });
        // Which radio is named first is no part of what is wrong: it is the same fault with another first radio.
        found.push(Finding { record, path, kind, other: other.filter(|_| pairs == 1), text });
    }
}

/// Where the setting stands in its part, with the switch behind it.
fn path_of(snapshot: &Snapshot, faulty: &FaultySetting) -> String {
    let (name, switch) = match &faulty.fault {
        SettingFault::Twice { setting, switch, .. } | SettingFault::Never { setting, switch } => {
            (setting, Some(switch))
        }
        SettingFault::SelectorTwice { setting, .. } | SettingFault::SelectorNever { setting } => {
            (setting, None)
        }
    };
    let part = snapshot.parts().find(faulty.part.as_str());
    let place = part.and_then(|(_, part)| part.settings.iter().position(|setting| setting.name() == name));
    let place = place.unwrap_or_default();
    switch.map_or_else(|| format!("settings.{place}"), |switch| format!("settings.{place}.switch.{switch}"))
}
