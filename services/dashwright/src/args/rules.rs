//! What the checks of a plan are held against, as it is said on the command line: `screen-reach-gap-mm=30`.

use dashwright_api::v1;

/// A rule and what states it.
type Numbered = (&'static str, fn(&mut v1::CheckRules) -> &mut Option<f64>);

/// The rules that are numbers. The schema says what each is and what is usual.
const NUMBERED: &[Numbered] = &[
    ("depth-bending-mm", |rules| &mut rules.depth_bending_mm),
    ("screen-collision-margin-mm", |rules| &mut rules.screen_collision_margin_mm),
    ("screen-cover-margin-mm", |rules| &mut rules.screen_cover_margin_mm),
    ("screen-reach-gap-mm", |rules| &mut rules.screen_reach_gap_mm),
    ("screen-reach-margin-mm", |rules| &mut rules.screen_reach_margin_mm),
    ("supply-share-percent", |rules| &mut rules.supply_share_percent),
    ("feed-length-metres", |rules| &mut rules.feed_length_metres),
    ("feed-ambient-celsius", |rules| &mut rules.feed_ambient_celsius),
    ("feed-allowed-drop-percent", |rules| &mut rules.feed_allowed_drop_percent),
    ("feed-fuse-factor", |rules| &mut rules.feed_fuse_factor),
    ("feed-insulation-celsius", |rules| &mut rules.feed_insulation_celsius),
    ("level-least-decibels", |rules| &mut rules.level_least_decibels),
    ("level-most-line-decibels", |rules| &mut rules.level_most_line_decibels),
    ("level-most-speaker-decibels", |rules| &mut rules.level_most_speaker_decibels),
    ("battery-ampere-hours", |rules| &mut rules.battery_ampere_hours),
    ("standby-share-percent", |rules| &mut rules.standby_share_percent),
    ("standby-days", |rules| &mut rules.standby_days),
    ("button-tolerance-percent", |rules| &mut rules.button_tolerance_percent),
    ("pull-up-tolerance-percent", |rules| &mut rules.pull_up_tolerance_percent),
];

/// A rule as a person states it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Rule {
    /// A number, by its place in the table.
    Number(usize, f64),
    /// How the current of a direct feed comes back.
    Returns(v1::FeedReturn),
    /// The sizes that a direct feed is chosen from.
    System(v1::ConductorSystem),
}

/// What is wrong with a rule.
#[derive(Debug, thiserror::Error)]
pub(super) enum RuleFault {
    /// There is no value.
    #[error("it is not RULE=VALUE, as standby-days=21")]
    Value,
    /// There is no such rule.
    #[error("no rule is called so; there are {}, feed-returns, feed-system", NUMBERED.iter().map(|rule| rule.0).collect::<Vec<_>>().join(", "))]
    Rule,
    /// The value is no number.
    #[error("`{found}` is no number")]
    Number { found: String },
    /// The value is no way back.
    #[error("`{found}` is neither wire nor chassis")]
    WayBack { found: String },
    /// The value is no system.
    #[error("`{found}` is neither awg nor mm2")]
    System { found: String },
}

/// A rule, as `standby-days=21`.
pub(super) fn rule(text: &str) -> Result<Rule, RuleFault> {
    let (name, value) = text.split_once('=').ok_or(RuleFault::Value)?;
    let found = value.to_owned();
    match (name, value) {
        ("feed-returns", "wire") => Ok(Rule::Returns(v1::FeedReturn::Wire)),
        ("feed-returns", "chassis") => Ok(Rule::Returns(v1::FeedReturn::Chassis)),
        ("feed-returns", _) => Err(RuleFault::WayBack { found }),
        ("feed-system", "awg") => Ok(Rule::System(v1::ConductorSystem::Awg)),
        ("feed-system", "mm2") => Ok(Rule::System(v1::ConductorSystem::SquareMillimetres)),
        ("feed-system", _) => Err(RuleFault::System { found }),
        _ => {
            let place = NUMBERED.iter().position(|(known, _)| *known == name).ok_or(RuleFault::Rule)?;
            let number = value.parse().map_err(|_| RuleFault::Number { found })?;
            Ok(Rule::Number(place, number))
        }
    }
}

/// The rules as the service takes them; of one that is stated twice the last counts. Nothing without any.
pub(super) fn message(stated: &[Rule]) -> Option<v1::CheckRules> {
    let mut rules = v1::CheckRules::default();
    for rule in stated {
        match rule {
            Rule::Number(place, number) => {
                if let Some((_, field)) = NUMBERED.get(*place) {
                    *field(&mut rules) = Some(*number);
                }
            }
            Rule::Returns(returns) => rules.set_feed_returns(*returns),
            Rule::System(system) => rules.set_feed_system(*system),
        }
    }
    (!stated.is_empty()).then_some(rules)
}
