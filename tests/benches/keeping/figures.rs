//! Figures: collected in their order, told as they come, printed as a table and written as JSON.

use std::path::Path;
use std::time::{Duration, Instant};

use crate::Outcome;

/// Names and numbers, in the order in which they were measured.
#[derive(Default)]
pub(crate) struct Figures(Vec<(String, f64)>);

impl Figures {
    pub(crate) fn add(&mut self, name: impl Into<String>, figure: f64) {
        let name = name.into();
        eprintln!("{name}: {figure:.3}");
        self.0.push((name, figure));
    }

    /// All that a process has measured, each under this name and its own.
    pub(crate) fn add_all(&mut self, name: &str, figures: Figures) {
        let named = figures.0.into_iter().map(|(figure, value)| (format!("{name}_{figure}"), value));
        self.0.extend(named);
    }

    /// One of them.
    pub(crate) fn get(&self, name: &str) -> f64 {
        let found = self.0.iter().find(|(known, _)| known == name);
        found.map_or(f64::NAN, |(_, figure)| *figure)
    }

    /// Percentiles of times.
    pub(crate) fn add_times(&mut self, name: &str, times: &mut Times) {
        for (percentile, part) in [("p50", 0.5), ("p90", 0.9), ("p99", 0.99), ("max", 1.0)] {
            self.add(format!("{name}_{percentile}_microseconds"), times.microseconds(part));
        }
    }

    pub(crate) fn print(&self) {
        for (name, figure) in &self.0 {
            println!("  {name:56} {figure:>14.3}");
        }
    }

    pub(crate) fn write(&self, file: &Path) -> Outcome<()> {
        let figures: serde_json::Map<_, _> =
            self.0.iter().map(|(name, figure)| (name.clone(), (*figure).into())).collect();
        Ok(std::fs::write(file, serde_json::to_vec_pretty(&figures)?)?)
    }

    /// What a process has told.
    pub(crate) fn told(output: &[u8]) -> Outcome<Figures> {
        Ok(Figures(serde_json::from_slice(output)?))
    }

    /// What a process tells the one that started it.
    pub(crate) fn tell(self) -> Outcome<()> {
        println!("{}", serde_json::to_string(&self.0)?);
        Ok(())
    }
}

/// Times of one thing done often.
#[derive(Default)]
pub(crate) struct Times(Vec<Duration>);

impl Times {
    /// Does something so often, each time with the number of the time.
    pub(crate) fn of(rounds: usize, mut what: impl FnMut(usize) -> Outcome<()>) -> Outcome<Times> {
        let mut times = Times::default();
        for round in 0..rounds {
            times.take(|| what(round))?;
        }
        Ok(times)
    }

    pub(crate) fn take<T>(&mut self, what: impl FnOnce() -> Outcome<T>) -> Outcome<T> {
        let began = Instant::now();
        let done = what()?;
        self.0.push(began.elapsed());
        Ok(done)
    }

    pub(crate) fn microseconds(&mut self, part: f64) -> f64 {
        self.0.sort_unstable();
        // The nearest rank: the least time that at least this part of the times does not exceed.
        let rank = (part * self.0.len() as f64).ceil() as usize;
        self.0.get(rank.saturating_sub(1)).map_or(f64::NAN, |time| time.as_secs_f64() * 1e6)
    }
}
