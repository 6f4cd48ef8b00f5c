//! Feeds that were sized.

use dashwright_api::v1;
use dashwright_checks::conductor::area;
use dashwright_checks::feed::{Feed, FeedQuestion, FeedRules, Lack, Laid, NoFeed, Rejected};
use dashwright_planner::Caution;
use v1::size_feed_response::Outcome;

use super::caution::caution;

const PERCENT: f64 = 100.0;

/// What becomes of a load.
pub(crate) fn sized_feed(question: &FeedQuestion, sized: Result<Feed, NoFeed>) -> v1::SizeFeedResponse {
    let FeedQuestion { load, supply, length, returns: _, ambient, series: _, rules } = question;
    let FeedRules { allowed_drop, fuse_factor, insulation } = rules;
    let inputs = v1::FeedInputs {
        amperes: load.get(),
        volts: supply.get(),
        length_metres: length.get(),
        ambient_celsius: ambient.get(),
        allowed_drop_percent: allowed_drop.get() * PERCENT,
        fuse_factor: fuse_factor.get(),
        insulation_celsius: insulation.get(),
    };
    let outcome = match sized {
        Ok(found) => Outcome::Feed(feed(&found)),
        Err(none) => Outcome::None(no_feed(&none)),
    };
    let cautions = [Caution::MakersInformationPrevails, Caution::BatteryOff, Caution::Fuses];
    v1::SizeFeedResponse {
        inputs: Some(inputs),
        outcome: Some(outcome),
        cautions: cautions.iter().map(caution).collect(),
    }
}

/// A feed.
pub(super) fn feed(feed: &Feed) -> v1::Feed {
    let Feed { laid: conductor, fuse, thinner } = feed;
    v1::Feed {
        conductor: Some(laid(conductor)),
        fuse_amperes: fuse.rating.get(),
        fuse_colour: fuse.colour.to_owned(),
        fuse_type: fuse.kind.letter().to_owned(),
        thinner: thinner.as_ref().map(rejected),
    }
}

fn laid(laid: &Laid) -> v1::LaidConductor {
    let Laid { conductor, resistance, drop, drop_share, limit } = laid;
    v1::LaidConductor {
        size: conductor.to_string(),
        square_millimetres: area(*conductor),
        resistance_ohms: resistance.get(),
        drop_volts: drop.get(),
        drop_percent: drop_share.get() * PERCENT,
        limit_amperes: limit.get(),
    }
}

fn rejected(rejected: &Rejected) -> v1::RejectedConductor {
    let Rejected { laid: conductor, lacks } = rejected;
    v1::RejectedConductor {
        conductor: Some(laid(conductor)),
        loses_too_much: lacks.iter().any(|lack| matches!(lack, Lack::Drop { .. })),
        carries_too_little: lacks.iter().any(|lack| matches!(lack, Lack::Current { .. })),
    }
}

/// Why there is no feed.
pub(super) fn no_feed(none: &NoFeed) -> v1::NoFeed {
    match none {
        // The request is refused where there is nothing to feed.
        NoFeed::Nothing => v1::NoFeed::default(),
        NoFeed::NoFuse { needed } => v1::NoFeed { no_fuse_for_amperes: needed.get(), thickest: None },
        NoFeed::NoConductor { thickest } => {
            v1::NoFeed { no_fuse_for_amperes: 0.0, thickest: Some(rejected(thickest)) }
        }
    }
}
