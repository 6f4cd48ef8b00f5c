//! Settings of modules: banks as pictures, selectors and instructions in words.

use dashwright_planner::SettingState;

use crate::job::Job;
use crate::picture::{self, Picture, PictureKind};

/// Settings.
pub(crate) struct Settings {
    pub(super) banks: Vec<Picture>,
    pub(super) others: Vec<SettingRow>,
}

/// A selector or an instruction.
pub(crate) struct SettingRow {
    pub(super) part: String,
    pub(super) name: String,
    pub(super) value: String,
}

impl Settings {
    pub(super) fn of(job: &Job<'_>) -> Self {
        let parts = job.work.iter().flat_map(|work| &work.settings);
        let others = parts.flat_map(|own| own.settings.iter().map(move |setting| (own.part, &setting.state)));
        let others = others.filter_map(|(index, state)| {
            let (name, value) = match state {
                SettingState::SwitchBank { .. } => return None,
                SettingState::Selector { name, position, rule: _ } => (name, format!("position {position}")),
                SettingState::Instruction { name, text } => (name, text.to_string()),
            };
            let part = job.part(index)?.number.to_string();
            Some(SettingRow { part, name: name.to_string(), value })
        });
        Self { banks: picture::of_job(job, PictureKind::Switches), others: others.collect() }
    }
}
