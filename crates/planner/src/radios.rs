//! Radios: whether a condition describes one.

use dashwright_model::RadioCondition;
use dashwright_model::record::Radio;
use dashwright_model::record::radio::SocketKind;

/// Whether a condition describes a radio: everything that it names holds.
pub(crate) fn radio_matches(condition: &RadioCondition, radio: &Radio) -> bool {
    let RadioCondition { chassis, brands, radios, sockets, floating_screen } = condition;
    let has = |kind: &SocketKind| radio.sockets.iter().any(|own| own.kind == *kind && own.count > 0);
    (chassis.is_empty() || chassis.contains(&radio.chassis.class))
        && (brands.is_empty() || brands.contains(&radio.brand))
        && (radios.is_empty() || radios.contains(&radio.id))
        && sockets.iter().all(has)
        && floating_screen.is_none_or(|floating| floating == radio.floating_screen.is_some())
}
