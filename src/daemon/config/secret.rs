//! Passwords: read from a file or a credential, never shown. It never looks anywhere else.

use std::fmt;
use std::io::Read;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

/// The longest password, in bytes.
const BYTES_MAX: u64 = 4096;

/// Something that no log and no message shows.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Hides a text.
    pub fn new(text: String) -> Secret {
        Secret(text)
    }

    /// The text, for the one who needs it.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(..)")
    }
}

/// A password with where it was found and whether others on this machine can read it.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) secret: Secret,
    pub(super) path: PathBuf,
    pub(super) is_open: bool,
}

/// Reads the first line of the credential of that name, if there is one, else of the file.
pub(super) fn read(name: &str, folder: &Path, credentials: Option<&Path>) -> Result<Found, String> {
    let credential = credentials.filter(|_| !name.contains('/')).map(|folder| folder.join(name));
    let path = credential.filter(|path| path.is_file()).unwrap_or_else(|| folder.join(name));
    let fail = |error: std::io::Error| format!("{}: {error}", path.display());
    let file = std::fs::File::open(&path).map_err(fail)?;
    let is_open = file.metadata().map_err(fail)?.permissions().mode() & 0o004 != 0;
    let mut text = String::new();
    file.take(BYTES_MAX).read_to_string(&mut text).map_err(fail)?;
    let line = text.lines().next().unwrap_or_default();
    if line.is_empty() {
        return Err(format!("{}: its first line is empty", path.display()));
    }
    Ok(Found { secret: Secret::new(line.to_owned()), path, is_open })
}
