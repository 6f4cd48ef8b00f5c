//! The bench as another process, which measures one thing with memory that nothing else has used.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::Outcome;
use crate::figures::Figures;

/// Has a process of this bench do something to a directory, and takes what it tells.
pub(crate) fn ask(role: &str, directory: &Path, number: u64) -> Outcome<Figures> {
    let mut command = Command::new(std::env::current_exe()?);
    command.arg(role).arg(directory).arg(number.to_string()).stderr(Stdio::inherit());
    let output = command.output()?;
    if !output.status.success() {
        return Err(format!("the process `{role}` failed").into());
    }
    Figures::told(&output.stdout)
}

/// The directory that such a process is given.
pub(crate) fn directory(arguments: &[String]) -> Outcome<PathBuf> {
    Ok(arguments.get(2).ok_or("which directory?")?.into())
}

/// The number that such a process is given.
pub(crate) fn number(arguments: &[String]) -> Outcome<u64> {
    Ok(arguments.get(3).ok_or("which number?")?.parse()?)
}

/// Processor time of this process in seconds, user and system: steadier on a shared machine than what the clock says.
pub(crate) fn cpu_seconds() -> Outcome<f64> {
    /// Ticks of /proc/PID/stat in a second; USER_HZ is 100 on every Linux that this runs on.
    const TICKS_PER_SECOND: f64 = 100.0;
    let stat = std::fs::read_to_string("/proc/self/stat")?;
    // The name in brackets may hold spaces; the numbers come behind it.
    let numbers = stat.rsplit(')').next().unwrap_or_default().split_whitespace();
    let ticks: f64 = numbers.skip(11).take(2).map(|ticks| ticks.parse().unwrap_or(f64::NAN)).sum();
    Ok(ticks / TICKS_PER_SECOND)
}

/// Most memory that this process ever had resident, in bytes.
pub(crate) fn peak() -> Outcome<u64> {
    status("VmHWM:")
}

/// Memory that this process has resident once what is free was given back, as the binary does after a start.
#[expect(
    unsafe_code,
    reason = "a foreign function without arguments that could be wrong; it frees nothing in use"
)]
pub(crate) fn resident() -> Outcome<u64> {
    // SAFETY: `mi_collect` may be called at any time from any thread; it only releases pages that hold nothing.
    unsafe { libmimalloc_sys::mi_collect(true) }
    status("VmRSS:")
}

fn status(field: &str) -> Outcome<u64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|line| line.strip_prefix(field)).ok_or("no such field of memory")?;
    let kibibytes: u64 = line.trim().trim_end_matches(" kB").trim().parse()?;
    Ok(kibibytes * 1024)
}
