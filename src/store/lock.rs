//! One daemon for each data folder, by an advisory lock that ends with the process. It never removes the file, because
//! another process may be about to lock it.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read, Seek, Write};
use std::path::Path;

use rustix::fs::{FlockOperation, flock};

use super::{LOCK, OpenError};

/// The lock, held for as long as this lives.
pub(super) struct Lock(#[expect(dead_code, reason = "open is what it is for")] File);

impl Lock {
    /// Takes the lock and leaves our process id for whoever comes second.
    pub(super) fn take(folder: &Path) -> Result<Lock, OpenError> {
        let fail = |error: std::io::Error| OpenError::Folder(folder.to_owned(), error);
        let mut options = OpenOptions::new();
        let path = folder.join(LOCK);
        let mut file = options.read(true).write(true).create(true).truncate(false).open(path).map_err(fail)?;
        if flock(&file, FlockOperation::NonBlockingLockExclusive).is_err() {
            let mut text = String::new();
            let _ = file.take(32).read_to_string(&mut text);
            return Err(OpenError::Locked { folder: folder.to_owned(), pid: text.trim().parse().ok() });
        }
        let write = |file: &mut File| {
            file.set_len(0)?;
            file.rewind()?;
            writeln!(file, "{}", std::process::id())
        };
        match write(&mut file) {
            // It is a courtesy to whoever comes second, and the lock holds without it.
            Err(error) if !matches!(error.kind(), ErrorKind::StorageFull | ErrorKind::QuotaExceeded) => {
                Err(fail(error))
            }
            _ => Ok(Lock(file)),
        }
    }
}
