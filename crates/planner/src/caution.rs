//! Cautions that travel with every answer.

use dashwright_model::record::Dash;
use dashwright_quantity::Label;

/// Something to beware of. The vehicle maker's service information, local codes and licensed practice come first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Caution {
    /// The plan uses a lead that only feigns the parking brake, because the caller asked for it.
    InterlockFeigned,
    /// The maker's service information and a licensed technician have the last word.
    MakersInformationPrevails,
    /// Discs out, ignition off, battery negative off before the radio comes out.
    BatteryOff,
    /// Never probe, cut or unplug the wiring of the restraint system without the maker's procedure.
    RestraintSystem,
    /// A plug of the restraint system is passed on the way here.
    RestraintPlug {
        /// Where.
        location: Label,
        /// Whether it has to be unplugged.
        must_be_unplugged: bool,
    },
    /// Reconnect every restraint plug before power comes back, with ignition off and the maker's waiting time.
    RestraintBeforePower,
    /// Join by function, never by colour alone; meter a supply or speaker lead whose record is not measured.
    MeterFirst,
    /// A larger fuse never cures an overload.
    Fuses,
    /// Soldering and shrinking burn.
    HotTools,
    /// Video in the driver's view may be against local law.
    VideoInDriversView,
    /// Test everything while the dash is still open.
    TestBeforeClosing,
}

/// The cautions for some dashes, general ones first.
#[must_use]
pub fn cautions<'a>(dashes: impl Iterator<Item = &'a Dash>) -> Vec<Caution> {
    let mut cautions = vec![
        Caution::MakersInformationPrevails,
        Caution::BatteryOff,
        Caution::RestraintSystem,
        Caution::RestraintBeforePower,
        Caution::MeterFirst,
        Caution::Fuses,
        Caution::HotTools,
        Caution::VideoInDriversView,
        Caution::TestBeforeClosing,
    ];
    cautions.extend(dashes.flat_map(|dash| &dash.restraint_plugs).map(|plug| Caution::RestraintPlug {
        location: plug.location.clone(),
        must_be_unplugged: plug.must_be_unplugged,
    }));
    cautions
}
