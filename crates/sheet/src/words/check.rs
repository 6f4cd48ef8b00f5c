//! Checks in words: what was checked, how it came out, and its numbers.

use dashwright_checks::feed::{Feed, NoFeed};
use dashwright_checks::result::{CheckKind, Figure, Margin, Outcome, Value};
use dashwright_planner::{NarrowPair, PlannedCheck, ScreenObstruction, Subject};
use dashwright_quantity::Label;

use super::spoken;

/// A check.
#[must_use]
pub const fn check_name(kind: CheckKind) -> &'static str {
    match kind {
        CheckKind::Depth => "depth",
        CheckKind::Face => "face",
        CheckKind::Screen => "floating screen",
        CheckKind::Supply => "supply",
        CheckKind::SpeakerLoad => "speaker load",
        CheckKind::Level => "level into the amplifier",
        CheckKind::Standby => "battery at rest",
        CheckKind::SteeringLadder => "steering buttons",
    }
}

/// How a check came out.
#[must_use]
pub const fn check_outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "holds",
        Outcome::Advise => "take care",
        Outcome::Fail => "fails",
        Outcome::NoData => "not known",
    }
}

/// What a check is about; empty where it is the whole job.
#[must_use]
pub fn subject(subject: Subject) -> String {
    match subject {
        Subject::Job => String::new(),
        Subject::Speaker(position) => spoken(position.name()),
        Subject::Buttons(wire) => spoken(wire.name()),
    }
}

/// A number with its unit, to three decimals; shares in percent.
#[must_use]
pub fn amount(value: Value) -> String {
    let (number, unit) = match value {
        Value::Fraction(share) => (share.get() * 100.0, "%"),
        other => (other.number(), other.unit()),
    };
    let number = decimals(number);
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

/// Three decimals, and none that say nothing.
fn decimals(number: f64) -> String {
    let text = format!("{number:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// A figure.
#[must_use]
pub fn figure(figure: &Figure) -> String {
    format!("{} {}", figure.name, amount(figure.value))
}

/// What is to spare; below nothing what lacks.
#[must_use]
pub fn margin(margin: &Margin) -> String {
    let Margin { amount: Figure { name, value }, short } = margin;
    let sign = if *short { "-" } else { "" };
    format!("{name} {sign}{}", amount(*value))
}

/// A check in one line.
#[must_use]
pub fn check(check: &PlannedCheck) -> String {
    let PlannedCheck { subject: about, result, reasons } = check;
    let about = match about {
        Subject::Job => String::new(),
        about => format!(" ({})", subject(*about)),
    };
    let mut text = format!("{}{about}: {}", check_name(result.check), check_outcome(result.outcome));
    if let Some(own) = &result.margin {
        text.push_str(&format!("; {}", margin(own)));
    }
    for reason in reasons {
        text.push_str(&format!("; {}", super::reason(reason)));
    }
    text
}

/// The direct feed that a supply needs, or that there is none.
#[must_use]
pub fn direct_feed(sized: &Result<Feed, NoFeed>) -> String {
    match sized {
        Ok(Feed { laid, fuse, thinner: _ }) => format!(
            "{} straight from the battery, with a fuse of {} ({}, type {}, ISO 8820-3) at the battery; a larger fuse in the \
             car's circuit never cures an overload",
            laid.conductor,
            fuse.rating,
            fuse.colour,
            fuse.kind.letter()
        ),
        Err(_) => "no conductor with a fuse feeds it by these rules".to_owned(),
    }
}

fn narrow_pair(pair: &NarrowPair) -> String {
    let NarrowPair { lower, upper, leaves, needs } = pair;
    let (leaves, needs) = (amount((*leaves).into()), amount((*needs).into()));
    format!("{lower} and {upper} leave {leaves} between them, the screen needs {needs}")
}

/// What keeps a screen from every position.
#[must_use]
pub(super) fn obstruction(why: &ScreenObstruction) -> String {
    let list = |names: &[Label]| names.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    match why {
        ScreenObstruction::DashFace => "it would reach behind the dash face in every position".to_owned(),
        ScreenObstruction::EachOf(names) => {
            format!("in every position it would cover or touch {}", list(names))
        }
        ScreenObstruction::Between(pairs) => pairs.iter().map(narrow_pair).collect::<Vec<_>>().join("; "),
        ScreenObstruction::Together(names) => format!("{} together leave it no position", list(names)),
        ScreenObstruction::BetweenSteps => "it is free in between the steps of its travel only".to_owned(),
    }
}
