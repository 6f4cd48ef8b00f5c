//! Processor time and memory of a process, and the core that it runs on.

use std::process::{Command, Stdio};

use crate::Outcome;

/// Ticks of /proc/PID/stat in a second; USER_HZ is 100 on every Linux that this runs on.
const TICKS_PER_SECOND: f64 = 100.0;

/// Binds this process to a core; where `taskset` is missing it runs where it runs, and the figures say less.
pub(crate) fn pin(core: usize) -> Outcome<()> {
    let process = std::process::id().to_string();
    let mut taskset = Command::new("taskset");
    match taskset.args(["-a", "-p", "-c", &core.to_string(), &process]).stdout(Stdio::null()).status() {
        Ok(status) if status.success() => Ok(()),
        _ => {
            eprintln!("taskset does not work here: processes share the cores, ratios are less steady");
            Ok(())
        }
    }
}

/// Lets this process run on any core, whatever the one that started it is bound to.
pub(crate) fn unpin() -> Outcome<()> {
    let process = std::process::id().to_string();
    let mut taskset = Command::new("taskset");
    let all =
        taskset.args(["-a", "-p", "-c", "0-1023", &process]).stdout(Stdio::null()).stderr(Stdio::null());
    if !all.status().is_ok_and(|status| status.success()) {
        eprintln!("taskset does not work here: the server keeps to its core");
    }
    Ok(())
}

/// Processor time of a process in microseconds, user and system.
pub(crate) fn microseconds(process: u32) -> Outcome<f64> {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat"))?;
    // The name in brackets may hold spaces; the numbers come behind it.
    let numbers: Vec<&str> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks =
        |index: usize| numbers.get(index).and_then(|field| field.parse::<f64>().ok()).unwrap_or_default();
    let (user, system) = (ticks(11), ticks(12));
    Ok((user + system) / TICKS_PER_SECOND * 1e6)
}

/// Resident memory of a process in bytes.
pub(crate) fn resident(process: u32) -> Outcome<u64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status"))?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).ok_or("no VmRSS")?;
    let kibibytes: u64 = line.trim().trim_end_matches(" kB").trim().parse()?;
    Ok(kibibytes * 1024)
}

/// Gives free memory back to the system, as the binary does after a start.
#[expect(
    unsafe_code,
    reason = "a foreign function without arguments that could be wrong; it frees nothing in use"
)]
pub(crate) fn give_back() {
    // SAFETY: `mi_collect` may be called at any time from any thread; it only releases pages that hold nothing.
    unsafe { libmimalloc_sys::mi_collect(true) }
}
