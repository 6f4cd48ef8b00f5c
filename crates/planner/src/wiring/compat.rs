//! What may meet: voltage, polarity and kind of signal of two ends.

use super::ends::End;
use super::{Mismatch, Sides};

/// What does not agree between what gives and what takes; empty where they may meet. What is not recorded on one side
/// refuses nothing here: where it decides, `refuse.rs` asks for it.
pub(super) fn mismatches(source: &End, sink: &End) -> Vec<Mismatch> {
    let sides = || Sides { source: source.record.clone(), sink: sink.record.clone() };
    let function = source.function;
    let mut found = Vec::new();
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
