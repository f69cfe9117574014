//! One daemon for each data folder, by an advisory lock that ends with the process. It never removes the file, because
//! another process may be about to lock it.

use std::fs::{File, Metadata, OpenOptions};
use std::io::{Read, Seek, Write};
use std::os::unix::fs::MetadataExt;
use std::path::Path;

use rustix::fs::{FlockOperation, flock};

use super::{LOCK, OpenError, is_outage};

/// The lock, held for as long as this lives. Where the disk takes no file to lock, nobody else gets one either, and the
/// broker alone keeps a second daemon out.
pub(super) struct Lock(Option<File>);

impl Lock {
    /// Whether the file that is locked is the one that lies in the folder, where a second daemon would look for it.
    pub(super) fn stands(&self, folder: &Path) -> bool {
        let Some(file) = &self.0 else { return true };
        let place = |found: std::io::Result<Metadata>| found.ok().map(|found| (found.dev(), found.ino()));
        place(file.metadata()) == place(std::fs::metadata(folder.join(LOCK)))
    }

    /// Takes the lock and leaves our process id for whoever comes second. Says too whether somebody was here before.
    pub(super) fn take(folder: &Path) -> Result<(Lock, bool), OpenError> {
        let path = folder.join(LOCK);
        let mut options = OpenOptions::new();
        let mut file = match options.read(true).write(true).create(true).truncate(false).open(&path) {
            Ok(file) => file,
            // One that is there can be locked all the same.
            Err(error) if is_outage(&error) => match File::open(&path) {
                Ok(file) => file,
                Err(_) => return Ok((Lock(None), false)),
            },
            Err(error) => return Err(OpenError::Folder(folder.to_owned(), error)),
        };
        if flock(&file, FlockOperation::NonBlockingLockExclusive).is_err() {
            let mut text = String::new();
            let _ = file.take(32).read_to_string(&mut text);
            return Err(OpenError::Locked { folder: folder.to_owned(), pid: text.trim().parse().ok() });
        }
        let was_here = file.metadata().is_ok_and(|found| found.len() > 0);
        // A courtesy to whoever comes second; the lock holds without it.
        let _ = file.set_len(0).and_then(|()| file.rewind()).and_then(|()| writeln!(file, "{}", std::process::id()));
        Ok((Lock(Some(file)), was_here))
    }
}
