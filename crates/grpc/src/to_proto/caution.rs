//! Cautions in words.

use dashwright_api::v1;
use dashwright_planner::Caution;

/// A caution.
pub(crate) fn caution(caution: &Caution) -> v1::Caution {
    let (code, text) = told(caution);
    v1::Caution { code: code.into(), text }
}

fn told(caution: &Caution) -> (v1::CautionCode, String) {
    use v1::CautionCode as Code;
    let plain = |code, text: &str| (code, text.to_owned());
    match caution {
        Caution::MakersInformationPrevails => plain(
            Code::MakersInformationPrevails,
            "the vehicle maker's service information, local codes and a licensed technician have the last word",
        ),
        Caution::InterlockFeigned => plain(
            Code::InterlockFeigned,
            "a lead that feigns the parking brake is used because it was asked for: local law may forbid it, and video \
             in the driver's view kills",
        ),
        Caution::BatteryOff => plain(
            Code::BatteryOff,
            "discs out, ignition off and battery negative off before the radio comes out",
        ),
        Caution::RestraintSystem => plain(
            Code::RestraintSystem,
            "never probe, cut or tap the wiring of the restraint system (airbags, belt tensioners)",
        ),
        Caution::RestraintPlug { location, must_be_unplugged: true } => (
            Code::RestraintPlug,
            format!(
                "a restraint plug is in the way ({location}): unplug it only by the vehicle maker's procedure"
            ),
        ),
        Caution::RestraintPlug { location, must_be_unplugged: false } => {
            (Code::RestraintPlug, format!("a restraint plug is near ({location}): leave it plugged"))
        }
        Caution::RestraintBeforePower => plain(
            Code::RestraintBeforePower,
            "before power comes back reconnect every restraint plug, ignition off, after the maker's waiting time",
        ),
        Caution::MeterFirst => plain(
            Code::MeterFirst,
            "join leads by function, never by colour alone; meter supply and speaker leads first where the record is \
             weaker than measured",
        ),
        Caution::Fuses => plain(Code::Fuses, "a larger fuse never cures an overload"),
        Caution::HotTools => {
            plain(Code::HotTools, "soldering irons and heat guns burn trim, wiring and skin")
        }
        Caution::VideoInDriversView => plain(
            Code::VideoInDriversView,
            "local law may forbid video in the driver's view; the parking-brake interlock stays in use",
        ),
        Caution::TestBeforeClosing => {
            plain(Code::TestBeforeClosing, "test every function while the dash is still open")
        }
    }
}
