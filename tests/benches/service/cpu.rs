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

/// Whether `taskset` is there.
pub(crate) fn can_pin() -> bool {
    let mut taskset = Command::new("taskset");
    taskset.arg("--version").stdout(Stdio::null()).status().is_ok_and(|status| status.success())
}

/// Processor time of a process in microseconds, user and system.
pub(crate) fn microseconds(process: u32) -> Outcome<f64> {
    Ok(Stat::of(process)?.own)
}

/// Processor time of a process and of everything that descends from it, with those that have ended and were waited for.
pub(crate) fn tree_microseconds(root: u32) -> Outcome<f64> {
    let members = tree(root)?;
    Ok(members.iter().map(|(_, stat)| stat.own + stat.ended).sum())
}

/// What /proc tells of a process, times in microseconds.
struct Stat {
    parent: u32,
    own: f64,
    /// What those that it started and waited for have used.
    ended: f64,
}

impl Stat {
    fn of(process: u32) -> Outcome<Self> {
        let stat = std::fs::read_to_string(format!("/proc/{process}/stat"))?;
        // The name in brackets may hold spaces; the numbers come behind it.
        let numbers: Vec<&str> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
        let number =
            |place: usize| numbers.get(place).and_then(|field| field.parse::<f64>().ok()).unwrap_or_default();
        let microseconds =
            |user: usize, system: usize| (number(user) + number(system)) / TICKS_PER_SECOND * 1e6;
        let parent = numbers.get(1).ok_or("no parent")?.parse()?;
        Ok(Self { parent, own: microseconds(11, 12), ended: microseconds(13, 14) })
    }
}

/// A process and everything that descends from it.
fn tree(root: u32) -> Outcome<Vec<(u32, Stat)>> {
    let numbers = std::fs::read_dir("/proc")?.flatten();
    let numbers = numbers.filter_map(|entry| entry.file_name().to_str()?.parse::<u32>().ok());
    // A process that ends meanwhile is one of the ended.
    let mut others: Vec<(u32, Stat)> =
        numbers.filter_map(|process| Some((process, Stat::of(process).ok()?))).collect();
    let at = others.iter().position(|(process, _)| *process == root).ok_or("the process has ended")?;
    let mut members = vec![others.swap_remove(at)];
    loop {
        let (more, rest): (Vec<_>, Vec<_>) = others
            .into_iter()
            .partition(|(_, stat)| members.iter().any(|(process, _)| *process == stat.parent));
        if more.is_empty() {
            return Ok(members);
        }
        members.extend(more);
        others = rest;
    }
}

/// Resident memory of a process in bytes.
pub(crate) fn resident(process: u32) -> Outcome<u64> {
    kibibytes(&format!("/proc/{process}/status"), "VmRSS:")
}

/// Memory of a process and of everything that descends from it; what they share counts once. Without a word of it from the kernel (a process of
/// somebody else) it is not told.
pub(crate) fn tree_resident(root: u32) -> Outcome<u64> {
    let members = tree(root)?;
    members.iter().map(|(process, _)| kibibytes(&format!("/proc/{process}/smaps_rollup"), "Pss:")).sum()
}

fn kibibytes(file: &str, field: &str) -> Outcome<u64> {
    let status = std::fs::read_to_string(file)?;
    let line = status.lines().find_map(|line| line.strip_prefix(field)).ok_or("no such field of memory")?;
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
