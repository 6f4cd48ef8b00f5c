//! Cautions, with their words.

use dashwright_api::v1;
use dashwright_planner::Caution;
use dashwright_sheet::words;

/// A caution.
pub(crate) fn caution(caution: &Caution) -> v1::Caution {
    v1::Caution { code: code(caution).into(), text: words::caution(caution) }
}

const fn code(caution: &Caution) -> v1::CautionCode {
    use v1::CautionCode as Code;
    match caution {
        Caution::MakersInformationPrevails => Code::MakersInformationPrevails,
        Caution::InterlockFeigned => Code::InterlockFeigned,
        Caution::BatteryOff => Code::BatteryOff,
        Caution::RestraintSystem => Code::RestraintSystem,
        Caution::RestraintPlug { .. } => Code::RestraintPlug,
        Caution::RestraintBeforePower => Code::RestraintBeforePower,
        Caution::MeterFirst => Code::MeterFirst,
        Caution::Fuses => Code::Fuses,
        Caution::HotTools => Code::HotTools,
        Caution::VideoInDriversView => Code::VideoInDriversView,
        Caution::TestBeforeClosing => Code::TestBeforeClosing,
    }
}
