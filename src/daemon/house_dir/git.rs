//! Questions to the `git` command, each bounded in time and size. None of them writes to a repository.

use std::io::{Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use super::{FILES_MAX, HouseDirError, Revision, is_house_file};
use crate::syntax::{FILE_BYTES_MAX, HOUSE_BYTES_MAX};

/// How long git may take for one question.
const PATIENCE: Duration = Duration::from_secs(10);

/// The most bytes that one answer may have: the house, its headers, and a list of other files beside it.
const ANSWER_BYTES_MAX: u64 = 4 * HOUSE_BYTES_MAX as u64;

/// A file of the committed tree.
pub(super) enum Committed {
    /// Path and bytes.
    File(String, Vec<u8>),
    /// A symbolic link.
    Link(String),
    /// A file that is not worth fetching.
    TooLarge(String),
}

/// Whether the directory lies in a git work tree that git is willing to read, or would be if it trusted it.
pub fn is_work_tree(dir: &Path) -> bool {
    match ask(dir, &["rev-parse", "--is-inside-work-tree"], Vec::new()) {
        Ok(answer) => answer.starts_with(b"true"),
        Err(HouseDirError::NotTrusted(_)) => true,
        // Half-saved files are not to run because git is slow or out of order, so the folders answer in its place.
        Err(HouseDirError::TimedOut(_) | HouseDirError::Git(_)) => {
            dir.canonicalize().is_ok_and(|dir| dir.ancestors().any(|above| above.join(".git").exists()))
        }
        Err(_) => false,
    }
}

/// The id of the commit that is checked out.
pub(super) fn head(dir: &Path) -> Result<String, HouseDirError> {
    let inside = ask(dir, &["rev-parse", "--is-inside-work-tree"], Vec::new())?;
    if !inside.starts_with(b"true") {
        return Err(HouseDirError::NoWorkTree(dir.to_owned()));
    }
    let answer = ask(dir, &["rev-parse", "--quiet", "--verify", "HEAD^{commit}"], Vec::new());
    match answer {
        Ok(id) => Ok(String::from_utf8_lossy(&id).trim().to_owned()),
        // With --quiet it says nothing when there is no commit.
        Err(HouseDirError::Git(said)) if said.is_empty() => Err(HouseDirError::NoCommit(dir.to_owned())),
        Err(error) => Err(error),
    }
}

/// Commit and dirtiness, where both can be told.
pub(super) fn revision(dir: &Path) -> Option<Revision> {
    let commit = head(dir).ok()?;
    let dirty = is_dirty(dir).ok()?;
    Some(Revision { commit, dirty })
}

/// Whether files of the house are saved differently from how they are committed.
pub(super) fn is_dirty(dir: &Path) -> Result<bool, HouseDirError> {
    let arguments = ["status", "--porcelain=v1", "-z", "--no-renames", "--untracked-files=all", "--", "."];
    let answer = ask(dir, &arguments, Vec::new())?;
    // Each entry: two letters, a blank, the path.
    Ok(answer.split(|byte| *byte == 0).filter_map(|entry| entry.get(3..)).any(|path| {
        let path = String::from_utf8_lossy(path);
        is_house_file(path.rsplit('/').next().unwrap_or(&path))
    }))
}

/// The house's files in the tree of a commit.
pub(super) fn committed(dir: &Path, commit: &str) -> Result<Vec<Committed>, HouseDirError> {
    let listing = ask(dir, &["ls-tree", "-r", "-z", "-l", commit, "."], Vec::new())?;
    let mut files = Vec::new();
    let mut wanted: Vec<(String, String)> = Vec::new();
    let mut total = 0;
    // Each entry: mode, type, id, size, a tab, the path.
    for entry in listing.split(|byte| *byte == 0).filter(|entry| !entry.is_empty()) {
        let entry = String::from_utf8_lossy(entry);
        let Some((facts, path)) = entry.split_once('\t') else { continue };
        let facts: Vec<&str> = facts.split_whitespace().collect();
        let [mode, "blob", id, size] = facts[..] else { continue };
        if !is_house_file(path) {
            continue;
        }
        let size: usize = size.parse().unwrap_or(usize::MAX);
        total += size.min(FILE_BYTES_MAX);
        if mode == "120000" {
            files.push(Committed::Link(path.to_owned()));
        } else if size > FILE_BYTES_MAX || total > HOUSE_BYTES_MAX || wanted.len() > FILES_MAX {
            files.push(Committed::TooLarge(path.to_owned()));
        } else {
            wanted.push((path.to_owned(), id.to_owned()));
        }
    }
    let ids: String = wanted.iter().map(|(_, id)| format!("{id}\n")).collect();
    let answer = ask(dir, &["cat-file", "--batch"], ids.into_bytes())?;
    let mut rest = answer.as_slice();
    for (path, _) in wanted {
        let Some((bytes, after)) = blob(rest) else {
            return Err(HouseDirError::Git(format!("the repository has lost the contents of {path}")));
        };
        files.push(Committed::File(path, bytes.to_vec()));
        rest = after;
    }
    Ok(files)
}

/// One answer of `cat-file --batch`: a line of id, type and size, the bytes, and a line feed.
fn blob(answer: &[u8]) -> Option<(&[u8], &[u8])> {
    let end = answer.iter().position(|byte| *byte == b'\n')?;
    let header = std::str::from_utf8(&answer[..end]).ok()?;
    let size: usize = header.rsplit(' ').next()?.parse().ok()?;
    let body = answer.get(end + 1..)?;
    Some((body.get(..size)?, body.get(size + 1..)?))
}

/// git in a directory, on the repository that it finds from there, with no chance to ask anybody anything.
pub fn command(dir: &Path) -> Command {
    let mut command = Command::new("git");
    command.arg("-C").arg(dir).env("GIT_TERMINAL_PROMPT", "0");
    // In a hook git points these at the repository that it works on, which need not be the house's.
    for variable in ["GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "GIT_PREFIX", "GIT_OBJECT_DIRECTORY"] {
        command.env_remove(variable);
    }
    command
}

/// Runs git in a directory and returns what it printed.
fn ask(dir: &Path, arguments: &[&str], input: Vec<u8>) -> Result<Vec<u8>, HouseDirError> {
    let mut command = command(dir);
    command.args(arguments).env("GIT_OPTIONAL_LOCKS", "0").env("LC_ALL", "C");
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let child = command.spawn().map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => HouseDirError::NoGit,
        _ => HouseDirError::Git(error.to_string()),
    })?;
    let (succeeded, output, said) = wait(child, input)?;
    if succeeded {
        return Ok(output);
    }
    let said = String::from_utf8_lossy(&said).trim().to_owned();
    Err(if said.contains("dubious ownership") {
        HouseDirError::NotTrusted(dir.to_owned())
    } else if said.contains("not a git repository") {
        HouseDirError::NoWorkTree(dir.to_owned())
    } else if said.contains("cannot change to") {
        HouseDirError::Directory(dir.to_owned(), std::io::Error::from(std::io::ErrorKind::NotFound))
    } else {
        HouseDirError::Git(said.lines().next().unwrap_or_default().trim_start_matches("fatal: ").to_owned())
    })
}

/// Feeds a child and reads it to its end, and kills it when that takes too long.
fn wait(mut child: Child, input: Vec<u8>) -> Result<(bool, Vec<u8>, Vec<u8>), HouseDirError> {
    let (stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
    let (sender, receiver) = mpsc::channel();
    // Three pipes, three threads: whichever git fills or waits for first, none of them blocks another.
    std::thread::spawn(move || stdin.map(|mut pipe| pipe.write_all(&input)));
    let errors = std::thread::spawn(move || read_all(stderr));
    std::thread::spawn(move || sender.send(read_all(stdout)));
    let Ok(output) = receiver.recv_timeout(PATIENCE) else {
        // It may have ended in the meantime; either way it is over.
        let _ = child.kill();
        let _ = child.wait();
        return Err(HouseDirError::TimedOut("reading the house"));
    };
    if output.len() as u64 > ANSWER_BYTES_MAX {
        let _ = child.kill();
    }
    let status = child.wait().map_err(|error| HouseDirError::Git(error.to_string()))?;
    let said = errors.join().unwrap_or_default();
    if output.len() as u64 > ANSWER_BYTES_MAX {
        return Err(HouseDirError::Git(
            "the house has too many files beside it; give it a directory of its own".into(),
        ));
    }
    Ok((status.success(), output, said))
}

fn read_all(pipe: Option<impl Read>) -> Vec<u8> {
    let mut bytes = Vec::new();
    if let Some(pipe) = pipe {
        // What was read before a failure is judged as it stands: a short answer does not parse.
        let _ = pipe.take(ANSWER_BYTES_MAX + 1).read_to_end(&mut bytes);
    }
    bytes
}
