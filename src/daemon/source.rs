//! Where the house comes from and which version of it: the committed tree, the saved files, or what was accepted last. It
//! never changes anything there and never decides whether a house runs.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use jiff::tz::TimeZoneDatabase;

use super::config::Apply;
use super::house_dir::{self, HouseText, Revision};
use crate::check;
use crate::diagnostic::render::{self, Style};
use crate::diagnostic::{Diagnostic, count_line, errors};
use crate::house::House;
use crate::store::AcceptedHouse;

/// How many digits of a revision are shown.
const DIGITS: usize = 7;

/// The house on disk.
#[derive(Clone)]
pub struct Source {
    dir: PathBuf,
    /// When a change is taken, where somebody has said so.
    apply: Option<Apply>,
    /// The folder was found in a git work tree.
    was_in_git: Arc<AtomicBool>,
    zones: TimeZoneDatabase,
}

/// One version of the house, decoded and checked.
pub struct Version {
    /// Its files: path and text, in path order.
    pub files: Vec<(String, String)>,
    /// Its name: `4f2c9a1` for a commit, `4f2c9a1+9be0c34` for files saved on top of it, `9be0c34` outside of git.
    pub revision: String,
    /// The house, or what is wrong with it.
    pub house: Result<House, Faults>,
    /// Warnings, a line each.
    pub warnings: Vec<String>,
    /// Whether files are saved that are not in it because they are not committed.
    pub leaves_out_saved: bool,
}

/// What keeps a house from running.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Faults {
    /// How many, and the first of them, on one line.
    pub line: String,
    /// All of them with their places underlined.
    pub text: String,
}

impl Source {
    /// The house in a folder. Where nobody says when a change is taken, a git work tree's is taken when it is committed, any
    /// other's when it is saved.
    pub fn new(dir: PathBuf, apply: Option<Apply>, zones: TimeZoneDatabase) -> Source {
        Source { dir, apply, was_in_git: Arc::default(), zones }
    }

    /// The folder.
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// When a change is taken. Found out each time, since a folder that is not there yet, or in no work tree, may be in one
    /// later; but never back: in a folder that goes or comes the files may be there and `.git` not. Blocks for as long as git
    /// takes, 10 s at most.
    pub fn mode(&self) -> Apply {
        if let Some(apply) = self.apply {
            return apply;
        }
        if !self.was_in_git.load(Ordering::Relaxed) && house_dir::is_work_tree(&self.dir) {
            self.was_in_git.store(true, Ordering::Relaxed);
        }
        if self.was_in_git.load(Ordering::Relaxed) { Apply::Commit } else { Apply::Save }
    }

    /// Reads and checks the house as it is now. Blocks for as long as disk and git take, 10 s for each call of git at most.
    pub fn read(&self) -> Version {
        let mode = self.mode();
        let read = match mode {
            Apply::Commit => house_dir::read_committed(&self.dir),
            // A person who says `standfast apply` means what is there.
            Apply::Save | Apply::Command => house_dir::read_saved(&self.dir),
        };
        match read {
            Ok(text) => version(text, mode, &self.zones),
            Err(error) => Version {
                files: Vec::new(),
                revision: String::new(),
                house: Err(Faults { line: error.to_string(), text: error.to_string() }),
                warnings: Vec::new(),
                leaves_out_saved: false,
            },
        }
    }

    /// Whether files of the house are saved that do not run because they are not committed; `None` where git does not say.
    /// Blocks as [`Source::read`] does.
    pub fn leaves_out_saved(&self) -> Option<bool> {
        match self.mode() {
            Apply::Commit => house_dir::is_dirty(&self.dir),
            Apply::Save | Apply::Command => Some(false),
        }
    }

    /// The house that was accepted last, checked anew: this version of Standfast may know better.
    pub fn accepted(&self, accepted: AcceptedHouse) -> Version {
        let text = HouseText { files: accepted.files, ..HouseText::default() };
        // It has its name, and nothing is saved beside it, so it does not matter where it once came from.
        Version { revision: accepted.revision, ..version(text, Apply::Save, &self.zones) }
    }
}

fn version(text: HouseText, mode: Apply, zones: &TimeZoneDatabase) -> Version {
    let HouseText { files, revision, mut diagnostics } = text;
    let examined = check::examine(&files, zones);
    diagnostics.extend(examined.diagnostics);
    let house = match examined.house.filter(|_| errors(&diagnostics) == 0) {
        Some(house) => Ok(house),
        None => Err(faults(&diagnostics, &files)),
    };
    let is_warning = |diagnostic: &&Diagnostic| !diagnostic.is_error();
    Version {
        revision: name(revision.as_ref(), mode, &files),
        warnings: diagnostics.iter().filter(is_warning).map(|warning| render::line(warning, &files)).collect(),
        leaves_out_saved: mode == Apply::Commit && revision.is_some_and(|revision| revision.dirty),
        house,
        files,
    }
}

fn faults(diagnostics: &[Diagnostic], files: &[(String, String)]) -> Faults {
    let wrong: Vec<Diagnostic> = diagnostics.iter().filter(|diagnostic| diagnostic.is_error()).cloned().collect();
    let first = wrong.first().map(|first| render::error_line(first, files)).unwrap_or_default();
    let one = if wrong.len() > 1 { ", of which the first is" } else { "" };
    Faults { line: format!("{}{one}: {first}", count_line(&wrong)), text: render::text(&wrong, files, Style::Plain) }
}

fn name(revision: Option<&Revision>, mode: Apply, files: &[(String, String)]) -> String {
    match revision {
        Some(revision) if mode == Apply::Commit || !revision.dirty => revision.short().to_owned(),
        Some(revision) => format!("{}+{}", revision.short(), digest(files)),
        None => digest(files),
    }
}

/// Seven digits that change with the text: the 64-bit FNV-1a hash (Fowler, Noll, Vo) of names and texts. It guards against
/// nothing; it only names.
fn digest(files: &[(String, String)]) -> String {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    let mut take = |text: &str| {
        for byte in text.bytes().chain([0]) {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    };
    for (path, text) in files {
        take(path);
        take(text);
    }
    let mut digits = format!("{hash:016x}");
    digits.truncate(DIGITS);
    digits
}

#[cfg(test)]
mod tests {
    use super::super::house_dir::tests::git;
    use super::*;

    const HOUSE: &str = "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n\n[board.yard]\nrelays = 1\n";

    fn source(dir: &Path, apply: Option<Apply>) -> Source {
        Source::new(dir.to_owned(), apply, TimeZoneDatabase::bundled())
    }

    #[test]
    fn outside_of_git_the_saved_files_run_and_the_text_names_the_version() {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::write(folder.path().join("house.toml"), HOUSE).expect("written");
        let source = source(folder.path(), None);
        assert_eq!(source.mode(), Apply::Save);
        let first = source.read();
        assert!(first.house.is_ok(), "{:?}", first.house.err());
        assert_eq!(first.revision.len(), DIGITS);
        assert_eq!(source.read().revision, first.revision);
        std::fs::write(folder.path().join("house.toml"), format!("{HOUSE}# a remark\n")).expect("written");
        assert_ne!(source.read().revision, first.revision);
    }

    #[test]
    fn a_folder_that_comes_later_is_in_git_if_it_is_then_and_stays_so() {
        let above = tempfile::tempdir().expect("a folder");
        let folder = above.path().join("rules");
        let source = source(&folder, None);
        assert_eq!(source.mode(), Apply::Save);
        std::fs::create_dir(&folder).expect("made");
        std::fs::write(folder.join("house.toml"), HOUSE).expect("written");
        assert!(source.read().house.is_ok());
        git(&folder, &["init", "-q"]);
        assert!(source.read().house.is_err(), "nothing is committed");
        std::fs::rename(folder.join(".git"), above.path().join("later")).expect("moved");
        assert!(source.clone().read().house.is_err(), "half of a copy");
    }

    #[test]
    fn faults_say_how_many_and_the_first() {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::write(folder.path().join("house.toml"), format!("{HOUSE}relais = 3\nleese = \"90s\"\n"))
            .expect("written");
        let faults = source(folder.path(), None).read().house.expect_err("two errors");
        assert!(faults.line.starts_with("2 errors, of which the first is: house.toml:7:1: "), "{}", faults.line);
        assert!(faults.text.contains("relais") && faults.text.contains("leese"), "{}", faults.text);
    }

    #[test]
    fn a_house_that_is_gone_or_empty_is_a_fault() {
        let folder = tempfile::tempdir().expect("a folder");
        assert!(source(folder.path(), None).read().house.is_err());
        let faults = source(&folder.path().join("gone"), None).read().house.expect_err("gone");
        assert!(faults.line.contains("gone"), "{}", faults.line);
    }

    #[test]
    fn the_accepted_house_keeps_its_revision() {
        let files = vec![("house.toml".to_owned(), HOUSE.to_owned())];
        let accepted = AcceptedHouse { revision: "4f2c9a1".to_owned(), files: files.clone() };
        let version = source(Path::new("nowhere"), Some(Apply::Command)).accepted(accepted);
        assert_eq!((version.revision.as_str(), version.house.is_ok(), version.files), ("4f2c9a1", true, files));
    }

    #[test]
    fn digests_tell_names_and_texts_apart() {
        // The empty input's hash is the offset basis, as the authors publish it.
        assert_eq!(digest(&[]), "cbf29ce");
        let files = |path: &str, text: &str| digest(&[(path.to_owned(), text.to_owned())]);
        assert_ne!(files("ab", "c"), files("a", "bc"));
    }
}
