//! The files of the example house in `rules/`. It reads them and judges nothing.

use std::fs;
use std::path::Path;

/// Name and text of each, in the order of names.
pub fn files() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("rules");
    let mut files: Vec<(String, String)> = fs::read_dir(&folder)
        .expect("the example house stands in rules/")
        .map(|entry| entry.expect("the folder is readable").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .map(|path| {
            let name = path.file_name().expect("a file has a name").to_string_lossy().into_owned();
            (name, fs::read_to_string(path).expect("a file of the house is text"))
        })
        .collect();
    files.sort();
    files
}
