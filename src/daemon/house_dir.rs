//! The files of a house from a directory: as they are saved, or as they are committed to git. It never decodes them and
//! never changes anything there.

pub(crate) mod git;

use std::fmt;
use std::fs;
use std::io::Read;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use jiff::tz::TimeZoneDatabase;

use crate::check::{self, Examined};
use crate::diagnostic::{Diagnostic, errors};
use crate::syntax::{self, FILE_BYTES_MAX};

pub use git::is_work_tree;

/// How deep directories are looked into.
const DEPTH_MAX: usize = 16;

/// How many files one house may have.
const FILES_MAX: usize = 1000;

/// The texts of a house, and what was wrong with the files themselves.
#[derive(Clone, Debug, Default)]
pub struct HouseText {
    /// Paths below the house's directory with `/` between parts, and texts, in path order.
    pub files: Vec<(String, String)>,
    /// The commit that they were read from or that the saved files are based on; `None` outside of git.
    pub revision: Option<Revision>,
    /// Files that could not be read as they should.
    pub diagnostics: Vec<Diagnostic>,
}

/// A commit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Revision {
    /// Its whole id in hexadecimal digits.
    pub commit: String,
    /// Whether files of the house are saved differently from how they are committed.
    pub dirty: bool,
}

impl Revision {
    /// The first seven digits, as they are shown.
    pub fn short(&self) -> &str {
        self.commit.get(..7).unwrap_or(&self.commit)
    }
}

impl fmt::Display for Revision {
    /// `4f2c9a1`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.short())
    }
}

/// Why a house could not be read at all. Shown, it says what to do.
#[derive(Debug)]
pub enum HouseDirError {
    /// There is no such directory, or it cannot be listed.
    Directory(PathBuf, std::io::Error),
    /// The directory is in no git work tree.
    NoWorkTree(PathBuf),
    /// Nothing was ever committed there.
    NoCommit(PathBuf),
    /// There is no `git` command.
    NoGit,
    /// Git does not trust the directory because somebody else owns it.
    NotTrusted(PathBuf),
    /// Git did not answer in time.
    TimedOut(&'static str),
    /// Git said something else.
    Git(String),
}

impl fmt::Display for HouseDirError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            HouseDirError::Directory(path, error) if error.kind() == std::io::ErrorKind::NotFound => {
                let path = path.display();
                write!(
                    f,
                    "cannot read the house in {path}: there is no such folder; `standfast new` writes a small house"
                )
            }
            HouseDirError::Directory(path, error) => write!(f, "cannot read the house in {}: {error}", path.display()),
            HouseDirError::NoWorkTree(path) => write!(
                f,
                "{0} is in no git work tree; make it one with `git init {0}`, or set apply = \"save\"",
                path.display()
            ),
            HouseDirError::NoCommit(path) => write!(
                f,
                "nothing is committed in {0} yet; commit the house with `git -C {0} add .` and `git -C {0} commit`",
                path.display()
            ),
            HouseDirError::NoGit => {
                f.write_str("the command `git` is not installed; install it, or set apply = \"save\"")
            }
            HouseDirError::NotTrusted(path) => write!(
                f,
                "git does not read {0} because another user owns it; allow it once with `git config --system --add \
                 safe.directory {0}`, or --global as the user that runs Standfast",
                path.display()
            ),
            HouseDirError::TimedOut(what) => write!(f, "git did not answer within 10 s ({what})"),
            HouseDirError::Git(said) => write!(f, "git failed: {said}"),
        }
    }
}

impl std::error::Error for HouseDirError {}

/// Whether a file belongs to a house, by its path below the house's directory.
pub fn is_house_file(path: &str) -> bool {
    let name = path.rsplit('/').next().unwrap_or(path);
    let hidden = path.split('/').any(|part| part.starts_with('.'));
    !hidden && name.ends_with(".toml") && !name.ends_with(".case.toml") && name != "standfast.toml"
}

/// Whether a directory itself, without those below it, has a file of a house.
pub fn has_house_files(dir: &Path) -> bool {
    let Ok(entries) = fs::read_dir(dir) else { return false };
    entries.flatten().any(|entry| entry.file_name().to_str().is_some_and(is_house_file))
}

/// Reads the files as they are saved.
///
/// # Errors
/// The directory cannot be listed. A single file that cannot be read is a diagnostic.
pub fn read_saved(dir: &Path) -> Result<HouseText, HouseDirError> {
    let mut paths = Vec::new();
    let mut house = HouseText { revision: git::revision(dir), ..HouseText::default() };
    list(dir, "", 0, &mut paths, &mut house.diagnostics)?;
    paths.sort();
    for path in paths.into_iter().take(FILES_MAX + 1) {
        match read_bounded(&dir.join(&path)) {
            Ok(bytes) => house.add(path, bytes),
            Err(error) => {
                house.diagnostics.push(Diagnostic::error("unreadable", error.to_string()).at(&path, 0..0, ""));
            }
        }
    }
    house.bounded();
    Ok(house)
}

/// Reads the files as they are committed: the tree of `HEAD`, whatever is saved beside it.
///
/// # Errors
/// Everything that keeps git from answering, see [`HouseDirError`].
pub fn read_committed(dir: &Path) -> Result<HouseText, HouseDirError> {
    let commit = git::head(dir)?;
    let mut house = HouseText::default();
    for blob in git::committed(dir, &commit)? {
        match blob {
            git::Committed::File(path, bytes) => house.add(path, bytes),
            git::Committed::Link(path) => {
                let diagnostic = Diagnostic::error("unreadable", "a link is committed here, not a file")
                    .at(&path, 0..0, "")
                    .help("commit the file itself");
                house.diagnostics.push(diagnostic);
            }
            git::Committed::TooLarge(path) => house.diagnostics.push(too_large(&path)),
        }
    }
    house.bounded();
    house.files.sort();
    let dirty = git::is_dirty(dir)?;
    if house.files.is_empty() && house.diagnostics.is_empty() && dirty {
        let diagnostic = Diagnostic::error("not-committed", "the files of the house are saved, but not committed")
            .because("the committed house is the one that runs")
            .help(format!("commit them with `git -C {0} add .` and `git -C {0} commit`", dir.display()));
        house.diagnostics.push(diagnostic);
    }
    house.revision = Some(Revision { commit, dirty });
    Ok(house)
}

/// Whether files below a folder of a git work tree are not committed; `None` where git does not say.
pub fn is_dirty(dir: &Path) -> Option<bool> {
    git::is_dirty(dir).ok()
}

impl HouseText {
    /// Decodes the house and looks for everything that is wrong with it, its files included.
    pub fn examine(&self, zones: &TimeZoneDatabase) -> Examined {
        let mut examined = check::examine(&self.files, zones);
        // "No files" says nothing new where files could not be read.
        if self.files.is_empty() && !self.diagnostics.is_empty() {
            examined.diagnostics.clear();
        }
        examined.diagnostics.extend(self.diagnostics.iter().cloned());
        syntax::sort(&mut examined.diagnostics, &self.files);
        if errors(&examined.diagnostics) > 0 {
            examined.house = None;
        }
        examined
    }

    /// Adds a file. What is not UTF-8 in it is reported and replaced, so that the rest can still be judged.
    fn add(&mut self, path: String, bytes: Vec<u8>) {
        if bytes.len() > FILE_BYTES_MAX {
            self.diagnostics.push(too_large(&path));
            return;
        }
        match String::from_utf8(bytes) {
            Ok(text) => self.files.push((path, text)),
            Err(error) => {
                let start = error.utf8_error().valid_up_to();
                let wide = error.as_bytes().starts_with(&[0xff, 0xfe]) || error.as_bytes().starts_with(&[0xfe, 0xff]);
                let diagnostic = Diagnostic::error("not-utf8", "the file is not UTF-8 text")
                    .at(&path, start..start + 3, if wide { "" } else { "these bytes are no UTF-8" })
                    .help(if wide { "it is UTF-16: save it as UTF-8" } else { "save it as UTF-8" });
                self.diagnostics.push(diagnostic);
                let text = if wide { String::new() } else { String::from_utf8_lossy(error.as_bytes()).into_owned() };
                self.files.push((path, text));
            }
        }
    }

    /// Reports too many files.
    fn bounded(&mut self) {
        if self.files.len() > FILES_MAX {
            self.files.truncate(FILES_MAX);
            let diagnostic = Diagnostic::error("too-many-files", format!("the house has more than {FILES_MAX} files"))
                .help("name the directory of the house alone, without anything else in it");
            self.diagnostics.push(diagnostic);
        }
    }
}

fn too_large(path: &str) -> Diagnostic {
    Diagnostic::error("too-large", format!("the file is larger than {} KiB", FILE_BYTES_MAX / 1024))
        .at(path, 0..0, "")
        .help("split it, or move what is no part of the house out of its directory")
}

/// The bytes of a file, one more than is allowed at most. A pipe is not read: nobody may ever write to it.
fn read_bounded(path: &Path) -> std::io::Result<Vec<u8>> {
    let unwaiting = rustix::fs::OFlags::NONBLOCK.bits().cast_signed();
    let file = fs::File::options().read(true).custom_flags(unwaiting).open(path)?;
    if !file.metadata()?.is_file() {
        return Err(std::io::Error::other("it is a pipe or a device, and no file"));
    }
    let mut bytes = Vec::new();
    file.take(FILE_BYTES_MAX as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// The house's files below a directory. Links to files are followed, links to directories are not: they may go round.
fn list(
    root: &Path,
    below: &str,
    depth: usize,
    paths: &mut Vec<String>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Result<(), HouseDirError> {
    let dir = root.join(below);
    let failed = |error| HouseDirError::Directory(dir.clone(), error);
    for entry in fs::read_dir(&dir).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let Ok(name) = entry.file_name().into_string() else {
            let shown = entry.file_name().to_string_lossy().into_owned();
            if shown.ends_with(".toml") && !shown.starts_with('.') {
                let path = format!("{below}{shown}");
                let diagnostic = Diagnostic::error("not-utf8", "the name of the file is not UTF-8");
                diagnostics.push(diagnostic.at(&path, 0..0, "").help("give it another name"));
            }
            continue;
        };
        if name.starts_with('.') {
            continue;
        }
        let path = format!("{below}{name}");
        let is_dir = entry.file_type().map_err(failed)?.is_dir();
        if is_dir && depth < DEPTH_MAX {
            list(root, &format!("{path}/"), depth + 1, paths, diagnostics)?;
        } else if !is_dir && is_house_file(&path) && !entry.path().is_dir() && paths.len() <= FILES_MAX {
            paths.push(path);
        }
    }
    Ok(())
}

#[cfg(test)]
pub(super) mod tests;
