//! A folder of a test's own, removed when dropped.

use std::fs;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

/// A temporary folder.
pub struct Folder(TempDir);

impl Folder {
    /// A new empty one.
    pub fn new() -> Folder {
        Folder(tempfile::Builder::new().prefix("standfast-test-").tempdir().expect("the temporary folder is writable"))
    }

    /// The path of something inside; the folder itself for an empty name.
    pub fn path(&self, name: &str) -> PathBuf {
        if name.is_empty() { self.0.path().to_path_buf() } else { self.0.path().join(name) }
    }

    /// Writes a file, with the folders above it.
    pub fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.path(name);
        let above = path.parent().expect("a file inside has a folder above it");
        fs::create_dir_all(above)
            .and_then(|()| fs::write(&path, text))
            .unwrap_or_else(|error| panic!("{name}: {error}"));
        path
    }

    /// Reads a file.
    pub fn read(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// Copies a folder of plain files and folders into this one.
    pub fn copy_in(&self, from: &Path, name: &str) {
        let to = self.path(name);
        fs::create_dir_all(&to).expect("the folder is ours");
        for entry in fs::read_dir(from).unwrap_or_else(|error| panic!("{}: {error}", from.display())) {
            let entry = entry.expect("the folder is readable");
            let inner = format!("{name}/{}", entry.file_name().to_string_lossy());
            if entry.path().is_dir() {
                self.copy_in(&entry.path(), &inner);
            } else {
                fs::copy(entry.path(), self.path(&inner)).expect("the file is readable");
            }
        }
    }
}

impl Default for Folder {
    fn default() -> Folder {
        Folder::new()
    }
}
