//! The TLS identity of the server in files: read at the start, and again when they change or on SIGHUP.

use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use dashwright_grpc::tls::{Identity, Tls, TlsError};

use crate::wiring::Hangup;

/// How often the files are looked at: a certificate is replaced days before it ends, so that half a minute is soon.
const LOOK_EVERY: Duration = Duration::from_secs(30);

/// Where the identity stands.
#[derive(Clone, Debug)]
pub(crate) struct TlsFiles {
    /// The certificates.
    pub(crate) certificates: PathBuf,
    /// The private key.
    pub(crate) key: PathBuf,
    /// The authorities of clients.
    pub(crate) client_authorities: Option<PathBuf>,
}

/// Why an identity can not be taken from its files.
#[derive(Debug, thiserror::Error)]
pub(crate) enum TlsFilesError {
    /// A file can not be read.
    #[error("`{}` can not be read", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: io::Error,
    },
    /// What they hold can not be shown.
    #[error("`{}` and `{}` are refused", certificates.display(), key.display())]
    Identity {
        /// The certificates.
        certificates: PathBuf,
        /// The private key.
        key: PathBuf,
        /// Why.
        source: TlsError,
    },
}

/// The contents of the files.
struct Texts {
    certificates: Vec<u8>,
    key: Vec<u8>,
    client_authorities: Option<Vec<u8>>,
}

/// What changes when a file does: time and length of each; none for one that is not there.
type Stamps = Vec<Option<(SystemTime, u64)>>;

impl TlsFiles {
    /// TLS with the identity of the files.
    ///
    /// # Errors
    /// When it can not be taken from them.
    pub(crate) fn open(&self) -> Result<Tls, TlsFilesError> {
        let texts = self.texts()?;
        Tls::new(texts.identity()).map_err(|error| self.refused(error))
    }

    /// Takes the identity anew whenever the files change, and on SIGHUP; never ends.
    pub(crate) async fn follow(self, tls: Tls, mut hangup: Hangup) {
        let mut known = self.stamps();
        loop {
            let asked = tokio::select! {
                () = hangup.next() => true,
                () = tokio::time::sleep(LOOK_EVERY) => false,
            };
            self.look(&tls, &mut known, asked);
        }
    }

    /// Takes the identity anew if the files have changed since, or if that was asked for. What can not be shown is told, and
    /// the one before stays.
    fn look(&self, tls: &Tls, known: &mut Stamps, asked: bool) {
        // Taken before the files are read, so that a change meanwhile is seen the next time.
        let now = self.stamps();
        if !asked && now == *known {
            return;
        }
        *known = now;
        match self.replace(tls) {
            Ok(()) => {
                tracing::info!(certificates = %self.certificates.display(), "the TLS identity was replaced")
            }
            Err(error) => {
                let cause = std::error::Error::source(&error).map(ToString::to_string).unwrap_or_default();
                tracing::error!(cause, "the TLS identity was not replaced, the one before stays: {error}");
            }
        }
    }

    fn replace(&self, tls: &Tls) -> Result<(), TlsFilesError> {
        let texts = self.texts()?;
        tls.replace(texts.identity()).map_err(|error| self.refused(error))
    }

    fn texts(&self) -> Result<Texts, TlsFilesError> {
        warn_if_shared(&self.key);
        let client_authorities = self.client_authorities.as_deref().map(read).transpose()?;
        Ok(Texts { certificates: read(&self.certificates)?, key: read(&self.key)?, client_authorities })
    }

    fn refused(&self, source: TlsError) -> TlsFilesError {
        let (certificates, key) = (self.certificates.clone(), self.key.clone());
        TlsFilesError::Identity { certificates, key, source }
    }

    fn stamps(&self) -> Stamps {
        let files = [Some(&self.certificates), Some(&self.key), self.client_authorities.as_ref()];
        let stamp = |path: &PathBuf| {
            let file = std::fs::metadata(path).ok()?;
            Some((file.modified().ok()?, file.len()))
        };
        files.into_iter().flatten().map(stamp).collect()
    }
}

impl Texts {
    fn identity(&self) -> Identity<'_> {
        Identity {
            certificates: &self.certificates,
            key: &self.key,
            client_authorities: self.client_authorities.as_deref(),
        }
    }
}

fn read(path: &Path) -> Result<Vec<u8>, TlsFilesError> {
    std::fs::read(path).map_err(|source| TlsFilesError::File { path: path.to_owned(), source })
}

fn warn_if_shared(path: &Path) {
    if is_shared(path) {
        tracing::warn!(file = %path.display(), "other users of this machine can read the private key: chmod 600 it");
    }
}

/// Whether other users of the machine can read a file.
#[cfg(unix)]
pub(crate) fn is_shared(path: &Path) -> bool {
    use std::os::unix::fs::PermissionsExt as _;
    /// Anything for the group or for others.
    const OTHERS: u32 = 0o077;
    std::fs::metadata(path).is_ok_and(|file| file.permissions().mode() & OTHERS != 0)
}

/// Whether other users of the machine can read a file; here nobody can tell.
#[cfg(not(unix))]
pub(crate) fn is_shared(_: &Path) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(path: &Path, text: &str) {
        std::fs::write(path, text).unwrap();
    }

    /// Certificate and key of a new authority of its own, as PEM.
    fn pair() -> (String, String) {
        let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]).unwrap();
        (made.cert.pem(), made.signing_key.serialize_pem())
    }

    fn files(directory: &Path) -> TlsFiles {
        TlsFiles {
            certificates: directory.join("cert.pem"),
            key: directory.join("key.pem"),
            client_authorities: None,
        }
    }

    #[test]
    fn what_is_no_identity_is_refused_and_named() {
        let directory = tempfile::tempdir().unwrap();
        let files = files(directory.path());
        let (certificate, key) = pair();
        let said = |files: &TlsFiles| {
            let error = files.open().err().unwrap();
            format!("{error}: {}", std::error::Error::source(&error).unwrap())
        };
        assert!(said(&files).starts_with(&format!("`{}` can not be read", files.certificates.display())));
        write(&files.certificates, &certificate);
        assert!(said(&files).starts_with(&format!("`{}` can not be read", files.key.display())));
        for (text, expected) in [
            ("", "there is no private key in the PEM text"),
            (certificate.as_str(), "there is no private key in the PEM text"),
            (pair().1.as_str(), "certificate and private key can not be used together"),
        ] {
            write(&files.key, text);
            assert!(said(&files).ends_with(expected), "{}", said(&files));
        }
        write(&files.key, &key);
        write(&files.certificates, &key);
        assert!(said(&files).ends_with("there is no certificate in the PEM text"), "{}", said(&files));
        write(&files.certificates, &certificate);
        files.open().unwrap();
    }

    /// By RFC 6066 the certificate is what the server shows, so that the test asks what a client is shown: see the tests of
    /// the whole. Here it is whether the files are read.
    #[test]
    fn files_are_read_again_when_they_change_or_when_asked_and_a_broken_one_changes_nothing() {
        let directory = tempfile::tempdir().unwrap();
        let files = files(directory.path());
        let (certificate, key) = pair();
        write(&files.certificates, &certificate);
        write(&files.key, &key);
        let tls = files.open().unwrap();
        let mut known = files.stamps();
        let first = tls.clone();
        let generation = || tls.replaced();
        files.look(&tls, &mut known, false);
        assert_eq!(generation(), 0, "nothing has changed");
        files.look(&tls, &mut known, true);
        assert_eq!(generation(), 1, "it was asked for");
        write(&files.key, &format!("{key}\n"));
        files.look(&tls, &mut known, false);
        assert_eq!(generation(), 2, "the length of a file has changed");
        write(&files.key, "no key");
        files.look(&tls, &mut known, false);
        assert_eq!(generation(), 2, "a broken file changes nothing");
        std::fs::remove_file(&files.key).unwrap();
        files.look(&tls, &mut known, false);
        assert_eq!(generation(), 2, "a missing file changes nothing");
        write(&files.key, &key);
        files.look(&tls, &mut known, false);
        assert_eq!(generation(), 3, "the file is back");
        assert_eq!(first.replaced(), 3, "clones share the identity");
    }

    #[cfg(unix)]
    #[test]
    fn a_key_that_others_can_read_is_told() {
        use std::os::unix::fs::PermissionsExt as _;
        let file = tempfile::NamedTempFile::new().unwrap();
        for (mode, shared) in [(0o600, false), (0o400, false), (0o640, true), (0o604, true), (0o644, true)] {
            std::fs::set_permissions(file.path(), std::fs::Permissions::from_mode(mode)).unwrap();
            assert_eq!(is_shared(file.path()), shared, "{mode:o}");
        }
    }
}
