//! Every decoder of bytes from outside, in the ordinary test run: what the fuzzer holds it to (`tests/fuzz/`) holds for its
//! seeds, for what chance makes of them, and for chance alone.

#[cfg(test)]
#[path = "decoders/chance.rs"]
mod chance;
#[cfg(test)]
#[path = "decoders/seeds.rs"]
mod seeds;
#[cfg(test)]
#[path = "fuzz/src/targets/mod.rs"]
mod targets;
