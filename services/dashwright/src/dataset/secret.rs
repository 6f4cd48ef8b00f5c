//! Secrets in files: the one that keys are proven with, and the one that signs checkpoints.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use dashwright_engine::keys::ServerSecret;
use dashwright_log::Signer;

use crate::failure::Failure;

/// The file of the secret that keys are proven with.
const KEY_SECRET: &str = "key-secret";
/// What its name is while it is written.
const KEY_SECRET_DRAFT: &str = "key-secret.new";
/// The name that signs checkpoints; who verifies them knows it from the verifier key.
const SIGNER_NAME: &str = "dashwright";
const SECRET_BYTES: usize = 32;

/// The secret of a directory, made when it is missing: the keys of another directory, and those of a backup that was
/// restored without this file, prove nothing under it.
pub(super) fn key_secret(directory: &Path) -> Result<ServerSecret, Failure> {
    let file = directory.join(KEY_SECRET);
    match fs::read(&file) {
        Ok(text) => {
            let bytes = bytes_of(&String::from_utf8_lossy(&text));
            Ok(ServerSecret::new(bytes.ok_or(Failure::NotASecret { file })?))
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            let mut bytes = [0; SECRET_BYTES];
            getrandom::fill(&mut bytes).map_err(|error| Failure::System(error.into()))?;
            write_secret(directory, &hex(&bytes)).map_err(Failure::System)?;
            tracing::info!(file = %file.display(), "made a secret for keys; no backup holds it");
            Ok(ServerSecret::new(bytes))
        }
        Err(source) => Err(Failure::File { file, source }),
    }
}

/// The key of a file that signs checkpoints: 64 hexadecimal digits, the private key of RFC 8032.
pub(crate) fn signer(file: &Path) -> Result<Signer, Failure> {
    let unreadable = |source| Failure::File { file: file.to_owned(), source };
    let text = fs::read_to_string(file).map_err(unreadable)?;
    let not_a_secret = || Failure::NotASecret { file: file.to_owned() };
    let seed = bytes_of(&text).ok_or_else(not_a_secret)?;
    Signer::new(SIGNER_NAME, seed).map_err(|_| not_a_secret())
}

/// By rename, so that a directory never has half of one.
fn write_secret(directory: &Path, text: &str) -> io::Result<()> {
    let (draft, file): (PathBuf, PathBuf) = (directory.join(KEY_SECRET_DRAFT), directory.join(KEY_SECRET));
    match fs::remove_file(&draft) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut written = options.open(&draft)?;
    written.write_all(format!("{text}\n").as_bytes())?;
    written.sync_all()?;
    fs::rename(&draft, &file)?;
    if cfg!(unix) { fs::File::open(directory)?.sync_all() } else { Ok(()) }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn bytes_of(text: &str) -> Option<[u8; SECRET_BYTES]> {
    let digits = text.trim_end();
    let mut bytes = [0; SECRET_BYTES];
    if digits.len() != 2 * SECRET_BYTES || !digits.bytes().all(|digit| digit.is_ascii_hexdigit()) {
        return None;
    }
    for (byte, pair) in bytes.iter_mut().zip(digits.as_bytes().chunks(2)) {
        *byte = u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()?;
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_made_once_and_read_for_only_its_owner() {
        let root = tempfile::tempdir().unwrap();
        let made = key_secret(root.path()).unwrap();
        assert_eq!(key_secret(root.path()).unwrap().id(), made.id());
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let file = root.path().join(KEY_SECRET);
            assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
        }
        fs::remove_file(root.path().join(KEY_SECRET)).unwrap();
        assert_ne!(key_secret(root.path()).unwrap().id(), made.id());
    }

    #[test]
    fn what_is_no_secret_is_refused_and_left_alone() {
        let root = tempfile::tempdir().unwrap();
        for text in ["", "00", &"g".repeat(64), &"0".repeat(63), &"é".repeat(32)] {
            fs::write(root.path().join(KEY_SECRET), text).unwrap();
            assert!(matches!(key_secret(root.path()), Err(Failure::NotASecret { .. })), "{text}");
            assert_eq!(fs::read_to_string(root.path().join(KEY_SECRET)).unwrap(), text);
        }
        fs::write(root.path().join(KEY_SECRET), [0xff; 64]).unwrap();
        assert!(matches!(key_secret(root.path()), Err(Failure::NotASecret { .. })), "not even text");
    }
}
