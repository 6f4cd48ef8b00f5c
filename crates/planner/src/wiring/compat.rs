//! What may meet: voltage, polarity and kind of signal of two ends.

use dashwright_model::record::RecordKind;
use dashwright_model::{Function, SignalKind};

use super::ends::End;
use super::{Mismatch, Sides};

/// What does not agree between what gives and what takes, or what would have to be known first; empty where they may meet.
pub(super) fn mismatches(source: &End, sink: &End) -> Vec<Mismatch> {
    let sides = || Sides { source: source.record.clone(), sink: sink.record.clone() };
    let function = source.function;
    let mut found: Vec<Mismatch> = missing(source, sink).into_iter().collect();
    // 12 V never meets a 6 V camera, 24 V never a 12 V radio.
    if let (Some(gives), Some(takes)) = (source.voltage, sink.voltage)
        && gives != takes
    {
        found.push(Mismatch::Voltage { function, source: gives, sink: takes, sides: sides() });
    }
    // Ground-side dimming never meets an input that waits for the supply.
    if let (Some(gives), Some(takes)) = (source.polarity, sink.polarity)
        && gives != takes
    {
        found.push(Mismatch::Polarity { function, source: gives, sink: takes, sides: sides() });
    }
    // A chopped dimmer never meets a steady input, line level never speaker level.
    if let (Some(gives), Some(takes)) = (source.signal, sink.signal)
        && gives != takes
    {
        found.push(Mismatch::Signal { function, source: gives, sink: takes, sides: sides() });
    }
    found
}

/// A fact that decides and is not recorded. Elsewhere what one side does not say refuses nothing.
fn missing(source: &End, sink: &End) -> Option<Mismatch> {
    match source.function {
        // 12 V and 24 V are both usual.
        Function::Battery | Function::Switched if source.voltage.is_none() => lacks(source, "voltage"),
        // 6, 8 and 12 V are all usual.
        Function::CameraPower if sink.voltage.is_none() => lacks(sink, "voltage"),
        Function::CameraPower if source.voltage.is_none() => lacks(source, "voltage"),
        // Chopped and ground-side dimming are both usual.
        Function::Illumination | Function::Dimmer if sink.signal == Some(SignalKind::Steady) => {
            let polarity = || source.polarity.is_none() && sink.polarity.is_some();
            if source.signal.is_none() {
                lacks(source, "signal")
            } else if polarity() {
                lacks(source, "polarity")
            } else {
                None
            }
        }
        // Switches to the supply and to ground are both usual.
        Function::ParkingBrake if source.polarity.is_none() && sink.polarity.is_some() => {
            lacks(source, "polarity")
        }
        _ => None,
    }
}

fn lacks(end: &End, field: &str) -> Option<Mismatch> {
    let record = end.record.clone();
    let field = match (record.kind, end.function) {
        (RecordKind::FactoryAudio, Function::CameraPower) => "camera.supply".to_owned(),
        (RecordKind::FactoryAudio, function) => format!("circuits.{function}.{field}"),
        _ => format!("leads.{}.{field}", end.lead.printed),
    };
    Some(Mismatch::FactMissing { record, field })
}
