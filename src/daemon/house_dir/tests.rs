//! Tests of reading houses, saved and committed, from directories of their own.

use super::*;

/// A directory with some files.
fn dir_with(files: &[(&str, &[u8])]) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for (path, bytes) in files {
        write(dir.path(), path, bytes);
    }
    dir
}

fn write(dir: &Path, path: &str, bytes: &[u8]) {
    let path = dir.join(path);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, bytes).unwrap();
}

/// git as somebody whom no configuration knows.
pub fn git(dir: &Path, arguments: &[&str]) {
    let rowan = ["-c", "user.name=Rowan", "-c", "user.email=rowan@example.org"];
    let mut command = super::git::command(dir);
    let output = command.args(rowan).args(arguments).env("GIT_CONFIG_GLOBAL", "/dev/null").output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

fn paths(house: &HouseText) -> Vec<&str> {
    house.files.iter().map(|(path, _)| path.as_str()).collect()
}

fn codes(house: &HouseText) -> Vec<&str> {
    house.diagnostics.iter().map(|diagnostic| diagnostic.code.as_str()).collect()
}

#[test]
fn saved_files_come_in_path_order() {
    let dir = dir_with(&[
        ("yard.toml", b"# yard"),
        ("cellar/air.toml", b"# air"),
        ("cellar.toml", b""),
        ("standfast.toml", b"house = \".\""),
        ("dusk.case.toml", b""),
        (".hidden.toml", b""),
        (".git2/x.toml", b""),
        ("notes.txt", b""),
    ]);
    let house = read_saved(dir.path()).unwrap();
    assert_eq!(paths(&house), ["cellar.toml", "cellar/air.toml", "yard.toml"]);
    assert_eq!(house.files[2].1, "# yard");
    assert_eq!((house.revision.is_none(), codes(&house).len()), (true, 0));
}

#[test]
fn files_that_are_no_text_are_reported() {
    let dir = dir_with(&[
        ("a.toml", b"# caf\xe9\n[site]\n"),
        ("b.toml", b"\xff\xfe[\x00"),
        ("c.toml", &vec![b'#'; FILE_BYTES_MAX + 1]),
    ]);
    let house = read_saved(dir.path()).unwrap();
    assert_eq!(codes(&house), ["not-utf8", "not-utf8", "too-large"]);
    assert_eq!(house.files, [("a.toml".into(), "# caf\u{fffd}\n[site]\n".into()), ("b.toml".into(), String::new())]);
    let examined = house.examine(&TimeZoneDatabase::bundled());
    assert!(examined.house.is_none());
    let found: Vec<&str> = examined.diagnostics.iter().map(|one| one.code.as_str()).collect();
    assert_eq!(found, ["too-large", "not-utf8", "missing-key", "missing-key", "not-utf8"]);
    assert!(matches!(read_saved(&dir.path().join("no")), Err(HouseDirError::Directory(..))));
}

#[cfg(unix)]
#[test]
fn links_are_followed_to_files_only() {
    let dir = dir_with(&[("house/a.toml", b"# a"), ("b.txt", b"# b")]);
    std::os::unix::fs::symlink("../b.txt", dir.path().join("house/b.toml")).unwrap();
    std::os::unix::fs::symlink("..", dir.path().join("house/round")).unwrap();
    std::os::unix::fs::symlink("nowhere", dir.path().join("house/c.toml")).unwrap();
    let house = read_saved(&dir.path().join("house")).unwrap();
    assert_eq!(paths(&house), ["a.toml", "b.toml"]);
    assert_eq!(codes(&house), ["unreadable"]);
}

/// Whoever opened it to read would wait for somebody who writes.
#[cfg(unix)]
#[test]
fn a_pipe_is_no_file_and_keeps_nobody_waiting() {
    let dir = dir_with(&[("a.toml", b"# a")]);
    let path = dir.path().join("pipe.toml");
    let may_read = rustix::fs::Mode::RUSR | rustix::fs::Mode::WUSR;
    rustix::fs::mknodat(rustix::fs::CWD, &path, rustix::fs::FileType::Fifo, may_read, 0).unwrap();
    let house = read_saved(dir.path()).unwrap();
    assert_eq!((paths(&house), codes(&house)), (vec!["a.toml"], vec!["unreadable"]));
    assert!(house.diagnostics[0].message.contains("a pipe"), "{:?}", house.diagnostics);
}

#[test]
fn the_committed_tree_is_read_and_not_what_is_saved() {
    let dir = dir_with(&[("rules/a.toml", b"# committed"), ("rules/deep/b.toml", b"# b"), ("other.toml", b"# no")]);
    let rules = dir.path().join("rules");
    assert!(matches!(read_committed(&rules), Err(HouseDirError::NoWorkTree(_))));
    git(dir.path(), &["init", "-q"]);
    assert!(is_work_tree(&rules));
    assert!(matches!(read_committed(&rules), Err(HouseDirError::NoCommit(_))));
    git(dir.path(), &["add", "."]);
    git(dir.path(), &["commit", "-q", "-m", "A house"]);

    let house = read_committed(&rules).unwrap();
    assert_eq!(paths(&house), ["a.toml", "deep/b.toml"]);
    assert_eq!(house.files[0].1, "# committed");
    let revision = house.revision.unwrap();
    assert_eq!((revision.commit.len(), revision.short().len(), revision.dirty), (40, 7, false));

    write(&rules, "a.toml", b"# saved");
    write(&rules, "c.toml", b"# new");
    write(&rules, "a.case.toml", b"# no part of the house");
    let house = read_committed(&rules).unwrap();
    assert_eq!((paths(&house).len(), house.files[0].1.as_str()), (2, "# committed"));
    assert!(house.revision.unwrap().dirty);
    let saved = read_saved(&rules).unwrap();
    assert_eq!((paths(&saved), saved.files[0].1.as_str()), (vec!["a.toml", "c.toml", "deep/b.toml"], "# saved"));
    assert!(saved.revision.unwrap().dirty);
}

#[test]
fn a_house_that_is_saved_and_not_committed_is_said_to_be_so() {
    let dir = dir_with(&[("readme.md", b"x")]);
    git(dir.path(), &["init", "-q"]);
    git(dir.path(), &["add", "."]);
    git(dir.path(), &["commit", "-q", "-m", "Nothing yet"]);
    write(dir.path(), "a.toml", b"# saved");
    let house = read_committed(dir.path()).unwrap();
    assert_eq!((codes(&house), house.files.len()), (vec!["not-committed"], 0));
}

#[cfg(unix)]
#[test]
fn a_committed_link_and_a_committed_giant_are_reported() {
    let dir = dir_with(&[("a.toml", b"# a"), ("giant.toml", &vec![b'#'; FILE_BYTES_MAX + 1])]);
    std::os::unix::fs::symlink("a.toml", dir.path().join("link.toml")).unwrap();
    git(dir.path(), &["init", "-q"]);
    git(dir.path(), &["add", "."]);
    git(dir.path(), &["commit", "-q", "-m", "A house"]);
    let house = read_committed(dir.path()).unwrap();
    assert_eq!(paths(&house), ["a.toml"]);
    let mut found = codes(&house);
    found.sort_unstable();
    assert_eq!(found, ["too-large", "unreadable"]);
}

#[test]
fn every_refusal_says_what_to_do() {
    let dir = PathBuf::from("/srv/house");
    for (error, part) in [
        (HouseDirError::NoWorkTree(dir.clone()), "git init"),
        (HouseDirError::NoCommit(dir.clone()), "commit"),
        (HouseDirError::NoGit, "install"),
        (HouseDirError::NotTrusted(dir), "safe.directory /srv/house"),
    ] {
        assert!(error.to_string().contains(part), "{error}");
    }
}
