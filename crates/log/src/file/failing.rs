//! A file system for tests: fails at the n-th operation, and forgets what was never synchronised.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use super::disk::{Disk, Handle, RealDisk};

/// How an operation fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Failure {
    /// The operation does nothing.
    Nothing,
    /// A write writes its first half; any other operation does nothing.
    Half,
    /// The operation succeeds and says that it did not; later ones work.
    Lie,
    /// The operation panics, unless it only measures.
    Panic,
}

/// Operations are counted from 0; the one that the count names fails.
#[derive(Debug)]
pub(crate) struct FailingDisk {
    state: Mutex<State>,
    failure: Failure,
}

#[derive(Debug, Default)]
struct State {
    done: usize,
    fail_at: Option<usize>,
    free: Option<u64>,
    durable_lengths: BTreeMap<PathBuf, u64>,
    undurable_names: BTreeSet<PathBuf>,
}

impl FailingDisk {
    pub(crate) fn new(fail_at: Option<usize>, failure: Failure) -> FailingDisk {
        FailingDisk { state: Mutex::new(State { fail_at, ..State::default() }), failure }
    }

    /// How many operations were asked for.
    pub(crate) fn done(&self) -> usize {
        self.state().done
    }

    pub(crate) fn set_free(&self, bytes: u64) {
        self.state().free = Some(bytes);
    }

    /// Leaves in the real file system what a power failure leaves at worst: names and bytes that were synchronised.
    pub(crate) fn lose_power(&self) {
        let state = self.state();
        for (path, length) in &state.durable_lengths {
            if path.exists() {
                fs::OpenOptions::new().write(true).open(path).unwrap().set_len(*length).unwrap();
            }
        }
        for path in &state.undurable_names {
            let _ = fs::remove_file(path);
        }
    }

    fn state(&self) -> std::sync::MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    fn step<T>(&self, run: impl FnOnce() -> io::Result<T>, half: impl FnOnce()) -> io::Result<T> {
        self.step_measuring(false, run, half)
    }

    fn step_measuring<T>(
        &self,
        measures: bool,
        run: impl FnOnce() -> io::Result<T>,
        half: impl FnOnce(),
    ) -> io::Result<T> {
        let fails = {
            let mut state = self.state();
            let fails = state.fail_at == Some(state.done);
            state.done += 1;
            fails
        };
        match self.failure {
            _ if !fails => run(),
            Failure::Panic if !measures => panic!("the operation that was chosen to panic"),
            Failure::Panic => Err(io::Error::other("chosen to fail")),
            Failure::Nothing => Err(io::Error::other("chosen to fail")),
            Failure::Half => {
                half();
                Err(io::Error::other("chosen to fail half-way"))
            }
            Failure::Lie => {
                let _ = run();
                Err(io::Error::other("chosen to seem to fail"))
            }
        }
    }
}

impl Disk for FailingDisk {
    fn list(&self, directory: &Path) -> io::Result<Vec<String>> {
        self.step(|| RealDisk.list(directory), || ())
    }

    fn create_dir(&self, directory: &Path) -> io::Result<()> {
        self.step(|| RealDisk.create_dir(directory), || ())
    }

    fn sync_dir(&self, directory: &Path) -> io::Result<()> {
        self.step(
            || {
                self.state().undurable_names.retain(|path| path.parent() != Some(directory));
                RealDisk.sync_dir(directory)
            },
            || (),
        )
    }

    fn create(&self, file: &Path) -> io::Result<File> {
        self.step(
            || {
                let created = RealDisk.create(file)?;
                let mut state = self.state();
                state.undurable_names.insert(file.to_owned());
                state.durable_lengths.insert(file.to_owned(), 0);
                Ok(created)
            },
            || (),
        )
    }

    fn open_append(&self, file: &Path) -> io::Result<File> {
        self.step(
            || {
                let opened = RealDisk.open_append(file)?;
                let length = opened.metadata()?.len();
                self.state().durable_lengths.entry(file.to_owned()).or_insert(length);
                Ok(opened)
            },
            || (),
        )
    }

    fn open_read(&self, file: &Path) -> io::Result<File> {
        self.step(|| RealDisk.open_read(file), || ())
    }

    fn write(&self, handle: &Handle, bytes: &[u8]) -> io::Result<()> {
        self.step(
            || RealDisk.write(handle, bytes),
            || RealDisk.write(handle, &bytes[..bytes.len() / 2]).unwrap(),
        )
    }

    fn sync(&self, handle: &Handle) -> io::Result<()> {
        self.step(
            || {
                let length = handle.file.metadata()?.len();
                self.state().durable_lengths.insert(handle.path.clone(), length);
                RealDisk.sync(handle)
            },
            || (),
        )
    }

    fn cut(&self, handle: &Handle, length: u64) -> io::Result<()> {
        self.step(|| RealDisk.cut(handle, length), || ())
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.step(
            || {
                let mut state = self.state();
                state.undurable_names.remove(from);
                state.undurable_names.insert(to.to_owned());
                if let Some(length) = state.durable_lengths.remove(from) {
                    state.durable_lengths.insert(to.to_owned(), length);
                }
                RealDisk.rename(from, to)
            },
            || (),
        )
    }

    fn remove(&self, file: &Path) -> io::Result<()> {
        self.step(|| RealDisk.remove(file), || ())
    }

    fn free_space(&self, directory: &Path) -> io::Result<u64> {
        let free = self.state().free;
        self.step_measuring(true, || free.map_or_else(|| RealDisk.free_space(directory), Ok), || ())
    }
}
