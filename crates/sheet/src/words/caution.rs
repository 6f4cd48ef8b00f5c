//! Cautions in words.

use dashwright_planner::Caution;

/// A caution.
#[must_use]
pub fn caution(caution: &Caution) -> String {
    let text = match caution {
        Caution::MakersInformationPrevails => {
            "the vehicle maker's service information, local codes and a licensed technician have the last word"
        }
        Caution::InterlockFeigned => {
            "a lead that feigns the parking brake is used because it was asked for: local law may forbid it, and video \
             in the driver's view kills"
        }
        Caution::BatteryOff => "discs out, ignition off and battery negative off before the radio comes out",
        Caution::RestraintSystem => {
            "never probe, cut or tap the wiring of the restraint system (airbags, belt tensioners)"
        }
        Caution::RestraintPlug { location, must_be_unplugged: true } => {
            return format!(
                "a restraint plug is in the way ({location}): unplug it only by the vehicle maker's procedure"
            );
        }
        Caution::RestraintPlug { location, must_be_unplugged: false } => {
            return format!("a restraint plug is near ({location}): leave it plugged");
        }
        Caution::RestraintBeforePower => {
            "before power comes back reconnect every restraint plug, ignition off, after the maker's waiting time"
        }
        Caution::MeterFirst => {
            "join leads by function, never by colour alone; meter supply and speaker leads first where the record is \
             weaker than measured"
        }
        Caution::Fuses => "a larger fuse never cures an overload",
        Caution::HotTools => "soldering irons and heat guns burn trim, wiring and skin",
        Caution::VideoInDriversView => {
            "local law may forbid video in the driver's view; the parking-brake interlock stays in use"
        }
        Caution::TestBeforeClosing => "test every function while the dash is still open",
    };
    text.to_owned()
}
