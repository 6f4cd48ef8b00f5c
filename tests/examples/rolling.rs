//! Restarts two servers in turns while clients ask, and prints what came of it: `--example rolling -- --restarts 50`.

use std::error::Error;
use std::time::{Duration, Instant};

use dashwright_tests::rolling::{Pair, roll};

/// How often without being told.
const RESTARTS: usize = 10;

fn main() -> Result<(), Box<dyn Error + Send + Sync>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let restarts = match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [] => RESTARTS,
        ["--restarts", number] => number.parse()?,
        _ => return Err("only --restarts NUMBER is understood".into()),
    };
    let pair = Pair::start()?;
    let begin = Instant::now();
    let runtime = tokio::runtime::Runtime::new()?;
    let (pair, figures) = runtime.block_on(roll(pair, restarts))?;
    let seconds = begin.elapsed().as_secs();
    pair.end()?;
    let ms = |time: Duration| time.as_millis();
    println!("{restarts} restarts in {seconds} s");
    let failed: u64 = figures.failed.values().sum();
    println!("{} calls, {failed} failed", figures.calls);
    println!(
        "{} repeated after a wait, {} sent again at once, for no server had taken them",
        figures.repeated, figures.resent
    );
    println!(
        "longest call {} ms, longest end {} ms, longest start {} ms",
        ms(figures.longest),
        ms(figures.longest_end),
        ms(figures.longest_start)
    );
    for (told, count) in &figures.failed {
        println!("failed {count} times: {told}");
    }
    if figures.failed.is_empty() { Ok(()) } else { Err("calls failed".into()) }
}
