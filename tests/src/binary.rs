//! The binary as a process: built once, started, read line by line, signalled.

use std::ffi::OsStr;
use std::io::{BufRead as _, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::OnceLock;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::service::Outcome;

/// How long is waited for a line or an end before the test fails: more than the slowest step takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(120);

/// The binary, built by the first test that asks for it.
///
/// # Errors
/// When it can not be built.
pub fn binary() -> Outcome<&'static Path> {
    static BUILT: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    let built = BUILT.get_or_init(|| build().map_err(|error| error.to_string()));
    built.as_deref().map_err(|error| error.clone().into())
}

/// Cargo names no binary of another package to a test, so it is asked to build it. Together with the tests of the workspace,
/// so that what `cargo test --workspace` has compiled is of the same features and is not compiled again.
fn build() -> Outcome<PathBuf> {
    let mut cargo = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    cargo.args(["build", "--workspace", "--bins", "--tests", "--message-format", "json-render-diagnostics"]);
    // Cargo tells a test of its own package, and a build script that asks for that (ring's does) would see another package than
    // before: it would run again, and everything built upon it be compiled again.
    for (name, _) in std::env::vars_os() {
        if ["CARGO_PKG_", "CARGO_MANIFEST_"].iter().any(|of| name.to_string_lossy().starts_with(of)) {
            cargo.env_remove(name);
        }
    }
    if !cfg!(debug_assertions) {
        cargo.arg("--release");
    }
    let built = cargo.current_dir(env!("CARGO_MANIFEST_DIR")).stderr(Stdio::inherit()).output()?;
    if !built.status.success() {
        return Err("the binary can not be built".into());
    }
    let messages = built.stdout.split(|byte| *byte == b'\n');
    let mut executables = messages.filter_map(|line| {
        let message: Value = serde_json::from_slice(line).ok()?;
        let of_ours = message.pointer("/target/name").is_some_and(|name| name == "dashwright");
        let of_tests = message.pointer("/profile/test").is_none_or(|test| test == true);
        let path = message.get("executable").and_then(Value::as_str).map(PathBuf::from);
        path.filter(|_| of_ours && !of_tests)
    });
    executables.next_back().ok_or_else(|| "cargo names no executable".into())
}

/// What a run of the binary came to.
#[derive(Debug)]
pub struct Ended {
    /// How it ended.
    pub status: ExitStatus,
    /// Its standard output.
    pub out: String,
    /// Its standard error.
    pub err: String,
}

/// Runs the binary to its end.
///
/// # Errors
/// When it can not be run or prints what is no text.
pub fn run(arguments: &[&str]) -> Outcome<Ended> {
    run_in(arguments, &[])
}

/// Runs the binary to its end with more in its environment.
///
/// # Errors
/// As [`run`].
pub fn run_in(arguments: &[&str], environment: &[(&str, &OsStr)]) -> Outcome<Ended> {
    run_at(Path::new("."), arguments, environment)
}

/// Runs the binary to its end in a directory, with more in its environment.
///
/// # Errors
/// As [`run`].
pub fn run_at(directory: &Path, arguments: &[&str], environment: &[(&str, &OsStr)]) -> Outcome<Ended> {
    let mut command = Command::new(binary()?);
    command.args(arguments).current_dir(directory).env_remove("RUST_LOG").envs(environment.iter().copied());
    let output = command.output()?;
    let (out, err) = (String::from_utf8(output.stdout)?, String::from_utf8(output.stderr)?);
    Ok(Ended { status: output.status, out, err })
}

/// A line that a process has printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Line {
    /// On standard output.
    Out(String),
    /// On standard error.
    Err(String),
}

/// A running process; it is killed when this goes.
#[derive(Debug)]
pub struct Process {
    child: Child,
    lines: Receiver<Line>,
    /// What it has printed so far, as far as it was waited for.
    pub seen: Vec<Line>,
}

impl Process {
    /// Starts the binary.
    ///
    /// # Errors
    /// When it can not be started.
    pub fn start(arguments: &[&str]) -> Outcome<Self> {
        Self::start_in(arguments, &[])
    }

    /// Starts the binary with more in its environment.
    ///
    /// # Errors
    /// When it can not be started.
    pub fn start_in(arguments: &[&str], environment: &[(&str, &OsStr)]) -> Outcome<Self> {
        let mut command = Command::new(binary()?);
        command.args(arguments).env_remove("RUST_LOG").envs(environment.iter().copied()).stdin(Stdio::null());
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn()?;
        let (sender, lines) = channel();
        read_lines(child.stdout.take(), sender.clone(), Line::Out);
        read_lines(child.stderr.take(), sender, Line::Err);
        Ok(Self { child, lines, seen: Vec::new() })
    }

    /// Its number, by which the operating system tells of it.
    #[must_use]
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Waits for a line.
    ///
    /// # Errors
    /// When the process ends without it, or takes too long.
    pub fn wait_for(&mut self, wanted: impl Fn(&Line) -> bool) -> Outcome<Line> {
        let begin = Instant::now();
        while begin.elapsed() < PATIENCE {
            match self.next_line(PATIENCE) {
                Ok(line) if wanted(&line) => return Ok(line),
                Ok(_) => {}
                Err(_) => break,
            }
        }
        Err(format!("the line did not come, only {:#?}", self.seen).into())
    }

    /// The next line, when one comes in time.
    ///
    /// # Errors
    /// When none comes, or none can come any more.
    pub fn next_line(&mut self, patience: Duration) -> Result<Line, RecvTimeoutError> {
        let line = self.lines.recv_timeout(patience)?;
        self.seen.push(line.clone());
        Ok(line)
    }

    /// Waits until it serves: the revision and the address that it prints.
    ///
    /// # Errors
    /// When it ends before.
    pub fn serving(&mut self) -> Outcome<(u64, String)> {
        let line = self.wait_for(|line| matches!(line, Line::Out(text) if text.starts_with("serving ")))?;
        let Line::Out(text) = line else { return Err("not a line of standard output".into()) };
        let (revision, address) = text
            .strip_prefix("serving revision ")
            .and_then(|rest| rest.split_once(" at "))
            .ok_or("what does it serve?")?;
        Ok((revision.parse()?, address.to_owned()))
    }

    /// Kills it, without a chance to do anything.
    ///
    /// # Errors
    /// When the operating system refuses.
    pub fn kill(mut self) -> Outcome<Vec<Line>> {
        self.child.kill()?;
        self.child.wait()?;
        while self.next_line(PATIENCE).is_ok() {}
        Ok(std::mem::take(&mut self.seen))
    }

    /// Asks it to end, as a service manager does.
    ///
    /// # Errors
    /// When the signal can not be sent.
    pub fn terminate(&self) -> Outcome<()> {
        self.signal("-TERM")
    }

    /// Asks it to read its files again, as an administrator does.
    ///
    /// # Errors
    /// When the signal can not be sent.
    pub fn hang_up(&self) -> Outcome<()> {
        self.signal("-HUP")
    }

    fn signal(&self, signal: &str) -> Outcome<()> {
        // POSIX has the command; a call of the operating system would be unsafe code.
        let sent = Command::new("kill").args([signal, &self.child.id().to_string()]).status()?;
        if sent.success() { Ok(()) } else { Err("the signal was not sent".into()) }
    }

    /// Waits for its end.
    ///
    /// # Errors
    /// When it does not end.
    pub fn ended(mut self) -> Outcome<ExitStatus> {
        self.wait_for_its_end()
    }

    /// Waits for its orderly end: all that it has printed.
    ///
    /// # Errors
    /// When it does not end, or fails.
    pub fn lines_to_its_end(mut self) -> Outcome<Vec<Line>> {
        let status = self.wait_for_its_end()?;
        let lines = std::mem::take(&mut self.seen);
        if status.success() { Ok(lines) } else { Err(format!("it failed: {lines:#?}").into()) }
    }

    fn wait_for_its_end(&mut self) -> Outcome<ExitStatus> {
        let begin = Instant::now();
        // Its pipes close when it ends.
        while self.next_line(PATIENCE).is_ok() {}
        if begin.elapsed() >= PATIENCE {
            return Err(format!("it does not end: {:#?}", self.seen).into());
        }
        Ok(self.child.wait()?)
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // It may have ended long ago.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn read_lines<R: Read + Send + 'static>(
    pipe: Option<R>,
    sender: Sender<Line>,
    side: impl Fn(String) -> Line + Send + 'static,
) {
    let Some(pipe) = pipe else { return };
    std::thread::spawn(move || {
        let lines = BufReader::new(pipe).lines();
        for line in lines.map_while(Result::ok) {
            if sender.send(side(line)).is_err() {
                return;
            }
        }
    });
}
