//! The interposer: a library that makes a process fail or die at a chosen file operation, compiled from `interpose.c`.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use dashwright_tests::binary::{Ended, Process, run_in};
use dashwright_tests::service::Outcome;
use tempfile::TempDir;

/// What becomes of the chosen operation. The words are those of `interpose.c`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Effect {
    /// The process dies before it.
    KillBefore,
    /// A write writes its first half, then the process dies.
    KillHalf,
    /// The process dies after it.
    KillAfter,
    /// It fails with EIO.
    Eio,
    /// It fails with ENOSPC.
    Enospc,
    /// A write writes its first half and says so, which is no failure.
    Short,
    /// A write writes its first half, and every later one fails with ENOSPC.
    Torn,
    /// The disk takes so many more bytes.
    Room,
}

impl Effect {
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::KillBefore => "kill-before",
            Self::KillHalf => "kill-half",
            Self::KillAfter => "kill-after",
            Self::Eio => "EIO",
            Self::Enospc => "ENOSPC",
            Self::Short => "short",
            Self::Torn => "torn",
            Self::Room => "room",
        }
    }
}

/// The chosen operation.
#[derive(Clone, Debug)]
pub(crate) struct Step {
    /// Its name, several with commas between, or `any`.
    pub(crate) operation: String,
    /// A part of its path, or `*`.
    pub(crate) path: String,
    /// Which occurrence, from 1.
    pub(crate) number: usize,
    /// What becomes of it.
    pub(crate) effect: Effect,
}

/// An operation as the trace tells it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Operation {
    /// Its name.
    pub(crate) name: String,
    /// The path below the data directory; numbers that differ from run to run are N.
    pub(crate) path: String,
    /// Whether it was the chosen one.
    pub(crate) chosen: bool,
}

impl Operation {
    fn read(line: &str) -> Option<Self> {
        let (chosen, line) = line.strip_prefix("! ").map_or((false, line), |line| (true, line));
        let (name, path) = line.split_once(' ')?;
        Some(Self { name: name.to_owned(), path: without_numbers(path), chosen })
    }

    /// What a person calls it.
    pub(crate) fn title(&self) -> String {
        format!("{} {}", self.name, if self.path.is_empty() { "." } else { &self.path })
    }

    /// Whether it changes nothing.
    pub(crate) fn only_reads(&self) -> bool {
        self.name == "open-read"
    }
}

/// A directory whose operations are watched, and the files through which the interposer is told.
pub(crate) struct Stage {
    _files: TempDir,
    root: PathBuf,
    trace: PathBuf,
    control: PathBuf,
    clock: PathBuf,
}

impl Stage {
    /// Watches a directory, which may be missing.
    pub(crate) fn new(root: &Path) -> Outcome<Self> {
        let files = tempfile::tempdir()?;
        let name = |name: &str| files.path().join(name);
        let (trace, control, clock) = (name("trace"), name("control"), name("clock"));
        Ok(Self { root: root.to_owned(), trace, control, clock, _files: files })
    }

    /// Starts the binary.
    pub(crate) fn start(&self, arguments: &[&str]) -> Outcome<Process> {
        Process::start_in(arguments, &self.environment()?)
    }

    /// Runs the binary to its end.
    pub(crate) fn run(&self, arguments: &[&str]) -> Outcome<Ended> {
        run_in(arguments, &self.environment()?)
    }

    /// Chooses an operation, counted from now on; a process chooses once.
    pub(crate) fn arm(&self, step: &Step) -> Outcome<()> {
        let Step { operation, path, number, effect } = step;
        let draft = self.control.with_extension("draft");
        fs::write(&draft, format!("{operation} {path} {number} {}\n", effect.word()))?;
        Ok(fs::rename(draft, &self.control)?)
    }

    /// Chooses nothing, for the processes that start from now on, and forgets what was traced.
    pub(crate) fn clear(&self) -> Outcome<()> {
        for file in [&self.control, &self.trace] {
            match fs::remove_file(file) {
                Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(error.into()),
                _ => {}
            }
        }
        Ok(())
    }

    /// Every operation since the last [`Self::clear`].
    pub(crate) fn trace(&self) -> Outcome<Vec<Operation>> {
        match fs::read_to_string(&self.trace) {
            Ok(text) => Ok(text.lines().filter_map(Operation::read).collect()),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(Vec::new()),
            Err(error) => Err(error.into()),
        }
    }

    /// The chosen operation, if it was reached.
    pub(crate) fn chosen(&self) -> Outcome<Option<Operation>> {
        Ok(self.trace()?.into_iter().find(|operation| operation.chosen))
    }

    /// Sets the time of day of the processes so many seconds forward, or back.
    pub(crate) fn set_clock(&self, seconds: i64) -> Outcome<()> {
        let draft = self.clock.with_extension("draft");
        fs::write(&draft, seconds.to_string())?;
        Ok(fs::rename(draft, &self.clock)?)
    }

    fn environment(&self) -> Outcome<[(&str, &OsStr); 5]> {
        Ok([
            ("LD_PRELOAD", library()?.as_os_str()),
            ("STEPS_ROOT", self.root.as_os_str()),
            ("STEPS_TRACE", self.trace.as_os_str()),
            ("STEPS_CONTROL", self.control.as_os_str()),
            ("STEPS_CLOCK", self.clock.as_os_str()),
        ])
    }
}

/// The library, compiled by the first test that asks for it.
fn library() -> Outcome<&'static Path> {
    static BUILT: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    let built = BUILT.get_or_init(|| compile().map_err(|error| error.to_string()));
    built.as_deref().map_err(|error| error.clone().into())
}

fn compile() -> Outcome<PathBuf> {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let library = directory.join("interpose.so");
    let draft = directory.join(format!("interpose.{}.so", std::process::id()));
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("robustness/interpose.c");
    let options = ["-shared", "-fPIC", "-O1", "-Wall", "-Wextra", "-Werror", "-o"];
    let mut compiler = Command::new("cc");
    compiler.args(options).arg(&draft).arg(source).args(["-ldl", "-lpthread"]);
    if !compiler.status()?.success() {
        return Err("the C compiler does not compile the interposer".into());
    }
    fs::rename(draft, &library)?;
    Ok(library)
}

/// Runs of 8 and more hexadecimal digits, and short names made up by chance, become N.
fn without_numbers(path: &str) -> String {
    let mut text = String::new();
    let mut digits = String::new();
    for letter in path.chars().chain(['\n']) {
        if letter.is_ascii_hexdigit() {
            digits.push(letter);
            continue;
        }
        text.push_str(if digits.len() >= 8 { "N" } else { &digits });
        digits.clear();
        text.push(letter);
    }
    text.trim_end().to_owned()
}

#[test]
fn a_step_is_named_without_its_numbers() {
    let read = |line: &str| Operation::read(line).map(|it| (it.title(), it.chosen));
    assert_eq!(read("write log/00000000000000000001.jsonl"), Some(("write log/N.jsonl".to_owned(), false)));
    assert_eq!(
        read("! fsync store/snap.00000000000002A8.generating"),
        Some(("fsync store/snap.N.generating".to_owned(), true))
    );
    assert_eq!(read("mkdir "), Some(("mkdir .".to_owned(), false)));
}
