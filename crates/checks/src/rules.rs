//! Every threshold of every check in one place, each with its reason or source where it is declared.

use crate::depth::DepthRules;
use crate::ladder::LadderRules;
use crate::level::LevelRules;
use crate::screen::ScreenRules;
use crate::standby::StandbyRules;
use crate::supply::SupplyRules;

/// The thresholds of all checks. Face and speaker load have none: what just fits fits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rules {
    /// Of the depth.
    pub depth: DepthRules,
    /// Of a floating screen.
    pub screen: ScreenRules,
    /// Of the supply, and of the feed that cures an overload.
    pub supply: SupplyRules,
    /// Of the level.
    pub level: LevelRules,
    /// Of the standby currents.
    pub standby: StandbyRules,
    /// Of the steering ladder.
    pub ladder: LadderRules,
}

impl Rules {
    /// The thresholds that are taken where none are stated.
    #[must_use]
    pub fn usual() -> Self {
        Self {
            depth: DepthRules::usual(),
            screen: ScreenRules::usual(),
            supply: SupplyRules::usual(),
            level: LevelRules::usual(),
            standby: StandbyRules::usual(),
            ladder: LadderRules::usual(),
        }
    }
}

impl Default for Rules {
    fn default() -> Self {
        Self::usual()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The values that the documentation states, written out once more: a threshold that changes changes answers.
    #[test]
    fn the_usual_thresholds_are_those_that_are_documented() {
        let Rules { depth, screen, supply, level, standby, ladder } = Rules::usual();
        assert_eq!(depth.bending.get(), 10.0);
        let room = [screen.collision_margin, screen.cover_margin, screen.reach_gap, screen.reach_margin];
        assert_eq!(room.map(|it| it.get()), [2.0, 0.0, 40.0, 10.0]);
        assert_eq!((supply.share.get(), supply.length.get(), supply.ambient.get()), (0.8, 4.0, 20.0));
        assert_eq!((supply.feed.allowed_drop.get(), supply.feed.fuse_factor.get()), (0.03, 1.25));
        let levels = [level.least, level.most_at_line, level.most_at_speaker];
        assert_eq!(levels.map(|it| it.get()), [-6.0, 6.0, 6.0]);
        assert_eq!((standby.battery.get(), standby.share.get(), standby.days.get()), (50.0, 0.3, 14.0));
        assert_eq!((ladder.button_tolerance.get(), ladder.pull_up_tolerance.get()), (0.05, 0.01));
    }
}
