//! What a caller wants the checks held against.

use dashwright_api::v1;
use dashwright_checks::feed::fuse_factor;
use dashwright_checks::rules::Rules;
use dashwright_quantity::{AmpereHours, Celsius, Days, Decibels, Fraction, Metres, Millimetres, OutOfRange};

use super::feed::{PERCENT, series, way_back};
use super::{FieldFaults, FieldProblem};

/// The rules of the checks: as usual, but for what is stated.
pub(super) fn rules(message: Option<v1::CheckRules>, faults: &mut FieldFaults) -> Rules {
    let mut rules = Rules::usual();
    let Some(message) = message else { return rules };
    let v1::CheckRules {
        depth_bending_mm,
        screen_collision_margin_mm,
        screen_cover_margin_mm,
        screen_reach_gap_mm,
        screen_reach_margin_mm,
        supply_share_percent,
        feed_length_metres,
        feed_returns,
        feed_system,
        feed_ambient_celsius,
        feed_allowed_drop_percent,
        feed_fuse_factor,
        feed_insulation_celsius,
        level_least_decibels,
        level_most_line_decibels,
        level_most_speaker_decibels,
        battery_ampere_hours,
        standby_share_percent,
        standby_days,
        button_tolerance_percent,
        pull_up_tolerance_percent,
    } = message;
    let Rules { depth, screen, supply, level, standby, ladder } = &mut rules;
    let mut stated = Stated { faults };
    let mm = Millimetres::new;
    stated.take("depth_bending_mm", depth_bending_mm, mm, &mut depth.bending);
    stated.take("screen_collision_margin_mm", screen_collision_margin_mm, mm, &mut screen.collision_margin);
    stated.take("screen_cover_margin_mm", screen_cover_margin_mm, mm, &mut screen.cover_margin);
    stated.take("screen_reach_gap_mm", screen_reach_gap_mm, mm, &mut screen.reach_gap);
    stated.take("screen_reach_margin_mm", screen_reach_margin_mm, mm, &mut screen.reach_margin);
    stated.take("supply_share_percent", supply_share_percent, percent, &mut supply.share);
    stated.take("feed_length_metres", feed_length_metres, Metres::new, &mut supply.length);
    stated.choose("feed_returns", feed_returns, way_back, &mut supply.returns);
    stated.choose("feed_system", feed_system, series, &mut supply.series);
    stated.take("feed_ambient_celsius", feed_ambient_celsius, Celsius::new, &mut supply.ambient);
    let feed = &mut supply.feed;
    stated.take("feed_allowed_drop_percent", feed_allowed_drop_percent, percent, &mut feed.allowed_drop);
    stated.take("feed_fuse_factor", feed_fuse_factor, fuse_factor, &mut feed.fuse_factor);
    stated.take("feed_insulation_celsius", feed_insulation_celsius, Celsius::new, &mut feed.insulation);
    let db = Decibels::new;
    stated.take("level_least_decibels", level_least_decibels, db, &mut level.least);
    stated.take("level_most_line_decibels", level_most_line_decibels, db, &mut level.most_at_line);
    stated.take("level_most_speaker_decibels", level_most_speaker_decibels, db, &mut level.most_at_speaker);
    stated.take("battery_ampere_hours", battery_ampere_hours, AmpereHours::new, &mut standby.battery);
    stated.take("standby_share_percent", standby_share_percent, percent, &mut standby.share);
    stated.take("standby_days", standby_days, Days::new, &mut standby.days);
    stated.take("button_tolerance_percent", button_tolerance_percent, percent, &mut ladder.button_tolerance);
    stated.take(
        "pull_up_tolerance_percent",
        pull_up_tolerance_percent,
        percent,
        &mut ladder.pull_up_tolerance,
    );
    rules
}

fn percent(percent: f64) -> Result<Fraction, OutOfRange> {
    Fraction::new(percent / PERCENT)
}

/// What is stated, in place of what is usual.
struct Stated<'f> {
    faults: &'f mut FieldFaults,
}

impl Stated<'_> {
    fn take<T>(
        &mut self,
        name: &str,
        stated: Option<f64>,
        measure: impl FnOnce(f64) -> Result<T, OutOfRange>,
        usual: &mut T,
    ) {
        let Some(number) = stated else { return };
        let read = measure(number).map_err(FieldProblem::Measure);
        if let Some(value) = self.faults.take(&format!("order.rules.{name}"), read) {
            *usual = value;
        }
    }

    fn choose<T>(
        &mut self,
        name: &str,
        number: i32,
        term: impl FnOnce(i32) -> Result<T, FieldProblem>,
        usual: &mut T,
    ) {
        // Zero is not stated.
        if number == 0 {
            return;
        }
        if let Some(value) = self.faults.take(&format!("order.rules.{name}"), term(number)) {
            *usual = value;
        }
    }
}
