//! The binary: arguments, wiring and signals; every answer comes from the crates below.

mod args;
mod client;
mod config;
mod dataset;
mod demo;
mod failure;
mod feed;
mod memory;
mod out;
mod progress;
mod run;
mod serve;
mod telemetry;
mod text;
mod tls_files;
mod wiring;

/// It needs only a C compiler, and it gives memory back between large answers sooner than the system's.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    run::run(std::env::args_os())
}
