//! Joining on small benches: a few lines say what car, radio and parts have, and the whole answer is compared.
//!
//! Expected answers are worked out by hand from the rules of the trade. Letters of colours are codes of IEC 60757, numbers of
//! terminals in comments are those of DIN 72552, contacts A4 and A7 those of ISO 10487.

mod antennas;
mod bench;
mod cameras;
mod catalogue;
mod choice;
mod fetching;
mod loads;
mod refusing;
mod speakers;
mod supplies;

use bench::{check, check_refusals};
use dashwright_model::Need;
