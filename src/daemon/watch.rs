//! Notices that the house may have changed, on disk or in git, and says so once things are quiet. It never reads the house.

use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use notify::{RecommendedWatcher, RecursiveMode, Watcher};
use tokio::sync::mpsc;
use tokio::time::{sleep, timeout};

use super::config::Apply;
use super::source::Source;

/// After the last sign of a change it has to be quiet for this long: editors and git write in several steps.
const QUIET: Duration = Duration::from_millis(300);
/// Constant change is told after this long all the same.
const LONGEST: Duration = Duration::from_secs(3);
/// Watches are made anew this often and a change is supposed: folders may have been replaced, and network file systems
/// tell of nothing.
const AGAIN: Duration = Duration::from_secs(60);
/// Whether the folder is still the one that is watched is looked this often: a watch goes with a folder that is moved away, and
/// sees nothing of one that comes in its place.
const LOOK: Duration = Duration::from_secs(2);

/// Starts watching; the receiver yields each time that the house is worth reading again. Where changes are only taken on
/// command it never does. Whoever reads the house after this misses no change.
pub fn start(source: Source) -> mpsc::Receiver<()> {
    // One waiting sign stands for all that came before it is read.
    let (sender, receiver) = mpsc::channel(1);
    let watching = Watching::at(&source);
    tokio::spawn(watch(source, watching, sender));
    receiver
}

/// A watcher where there can be one, and what it sees.
struct Watching {
    _watcher: Option<RecommendedWatcher>,
    seen: mpsc::Receiver<()>,
    /// What it was made for.
    place: Place,
    mode: Apply,
}

/// The folder of the house and, where commits are watched, that of git: device and inode of each, whatever its name is.
/// `None` stands for none.
type Place = [Option<(u64, u64)>; 2];

impl Watching {
    /// None where changes are only taken on command.
    fn at(source: &Source) -> Option<Watching> {
        let (dir, mode) = (source.dir(), source.mode());
        if mode == Apply::Command {
            return None;
        }
        let (signs, seen) = mpsc::channel(1);
        // Before the watch is there, so that what takes the folder's place meanwhile is found out.
        let place = place(dir, mode);
        let watcher = watcher(dir, mode, signs);
        if let Err(error) = &watcher {
            tracing::debug!("cannot watch {}: {error}", dir.display());
        }
        Some(Watching { _watcher: watcher.ok(), seen, place, mode })
    }

    /// Whether another folder is in the place of the one that it was made for, or none.
    async fn is_misplaced(&self, dir: &Path) -> bool {
        let (dir, mode) = (dir.to_owned(), self.mode);
        // A file system that hangs keeps nobody else.
        let found = tokio::task::spawn_blocking(move || place(&dir, mode)).await;
        found.is_ok_and(|found| found != self.place)
    }
}

fn place(dir: &Path, mode: Apply) -> Place {
    let folder = |path: &Path| {
        let found = std::fs::metadata(path).ok().filter(std::fs::Metadata::is_dir)?;
        Some((found.dev(), found.ino()))
    };
    let git = if mode == Apply::Commit { git_folder(dir) } else { None };
    [folder(dir), git.and_then(|git| folder(&git))]
}

async fn watch(source: Source, mut watching: Option<Watching>, sender: mpsc::Sender<()>) {
    while let Some(mut now) = watching.take() {
        let look_again = sleep(AGAIN);
        tokio::pin!(look_again);
        loop {
            let sign = tokio::select! {
                // Where there is no watcher, its end of the channel is gone; then only time tells.
                Some(()) = now.seen.recv() => true,
                () = sleep(LOOK) => false,
                () = &mut look_again => break,
                () = sender.closed() => return,
            };
            if sign {
                let settle = async { while let Ok(Some(())) = timeout(QUIET, now.seen.recv()).await {} };
                let _ = timeout(LONGEST, settle).await;
            }
            if now.is_misplaced(source.dir()).await {
                break;
            }
            if sign {
                // Full means that one is waiting to be read.
                let _ = sender.try_send(());
            }
        }
        // What takes the folder's place may be in git, where it was not, and git may take its time to say so.
        let source = source.clone();
        let Ok(again) = tokio::task::spawn_blocking(move || Watching::at(&source)).await else { return };
        watching = again;
        // After the watch is there, so that what changes from here on is seen, whenever this is read.
        let _ = sender.try_send(());
    }
    sender.closed().await;
}

/// Watches what changes when the house does.
fn watcher(dir: &Path, mode: Apply, signs: mpsc::Sender<()>) -> notify::Result<RecommendedWatcher> {
    let mut watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
        // Reading a file is no change of it, and would never end.
        if event.map_or(true, |event| !event.kind.is_access()) {
            let _ = signs.try_send(());
        }
    })?;
    if mode == Apply::Save {
        watcher.watch(dir, RecursiveMode::Recursive)?;
        return Ok(watcher);
    }
    for (path, recursive) in git_places(dir) {
        watcher.watch(&path, recursive)?;
    }
    Ok(watcher)
}

/// Where git writes when something is committed or another branch is checked out: `HEAD` of the work tree, and the
/// references of the repository that it belongs to. See gitrepository-layout(5).
fn git_places(dir: &Path) -> Vec<(PathBuf, RecursiveMode)> {
    let Some(git) = git_folder(dir) else { return Vec::new() };
    let shared = std::fs::read_to_string(git.join("commondir")).map_or(git.clone(), |path| git.join(path.trim()));
    let mut places = vec![(git.clone(), RecursiveMode::NonRecursive), (shared.join("refs"), RecursiveMode::Recursive)];
    if shared != git {
        places.push((shared, RecursiveMode::NonRecursive));
    }
    places
}

/// The `.git` of the nearest folder upwards that has one, followed where it is a file that names a folder.
fn git_folder(dir: &Path) -> Option<PathBuf> {
    let dir = dir.canonicalize().ok()?;
    let git = dir.ancestors().map(|above| above.join(".git")).find(|git| git.exists())?;
    if git.is_dir() {
        return Some(git);
    }
    let text = std::fs::read_to_string(&git).ok()?;
    let path = text.strip_prefix("gitdir:")?.trim();
    Some(git.parent()?.join(path))
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZoneDatabase;

    use super::super::house_dir::tests::git;
    use super::*;

    const PATIENCE: Duration = Duration::from_secs(20);

    fn start(dir: &Path, apply: impl Into<Option<Apply>>) -> mpsc::Receiver<()> {
        super::start(Source::new(dir.to_owned(), apply.into(), TimeZoneDatabase::bundled()))
    }

    /// Waits for a sign, repeating the change until the watch is there to see it.
    async fn seen_after(receiver: &mut mpsc::Receiver<()>, change: impl Fn(usize)) {
        for round in 0..40 {
            change(round);
            if timeout(Duration::from_millis(500), receiver.recv()).await.is_ok() {
                return;
            }
        }
        panic!("the change was not seen");
    }

    async fn is_quiet(receiver: &mut mpsc::Receiver<()>) {
        while timeout(Duration::from_secs(1), receiver.recv()).await.is_ok() {}
    }

    /// Between the reading of the house at a start and the watch over it nothing may slip through.
    #[tokio::test]
    async fn what_is_saved_right_after_the_start_is_seen() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut receiver = start(folder.path(), Apply::Save);
        std::fs::write(folder.path().join("house.toml"), "x").expect("written");
        assert_eq!(timeout(PATIENCE, receiver.recv()).await, Ok(Some(())));
    }

    #[tokio::test]
    async fn saving_a_file_is_seen_also_in_a_new_folder_and_reading_is_not() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("house.toml");
        let mut receiver = start(folder.path(), Apply::Save);
        seen_after(&mut receiver, |round| std::fs::write(&file, round.to_string()).expect("written")).await;
        is_quiet(&mut receiver).await;
        std::fs::read_to_string(&file).expect("read");
        assert!(timeout(Duration::from_secs(1), receiver.recv()).await.is_err(), "reading is no change");
        std::fs::create_dir(folder.path().join("new")).expect("made");
        seen_after(&mut receiver, |round| {
            std::fs::write(folder.path().join("new/more.toml"), round.to_string()).expect("written");
        })
        .await;
    }

    #[tokio::test]
    async fn a_commit_is_seen_and_a_saved_file_is_not() {
        let folder = tempfile::tempdir().expect("a folder");
        let house = folder.path().join("rules");
        std::fs::create_dir(&house).expect("made");
        git(folder.path(), &["init", "-q"]);
        git(folder.path(), &["commit", "-q", "--allow-empty", "-m", "first"]);
        let mut receiver = start(&house, Apply::Commit);
        seen_after(&mut receiver, |_| git(folder.path(), &["commit", "-q", "--allow-empty", "-m", "more"])).await;
        is_quiet(&mut receiver).await;
        std::fs::write(house.join("house.toml"), "x").expect("written");
        assert!(timeout(Duration::from_secs(1), receiver.recv()).await.is_err(), "saved is not committed");
    }

    #[tokio::test]
    async fn a_commit_in_a_linked_work_tree_is_seen() {
        let folder = tempfile::tempdir().expect("a folder");
        let (main, linked) = (folder.path().join("main"), folder.path().join("linked"));
        std::fs::create_dir(&main).expect("made");
        git(&main, &["init", "-q"]);
        git(&main, &["commit", "-q", "--allow-empty", "-m", "first"]);
        git(&main, &["worktree", "add", "-q", "../linked"]);
        let mut receiver = start(&linked, Apply::Commit);
        seen_after(&mut receiver, |_| git(&linked, &["commit", "-q", "--allow-empty", "-m", "more"])).await;
    }

    #[tokio::test]
    async fn on_command_nothing_is_seen() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut receiver = start(folder.path(), Apply::Command);
        std::fs::write(folder.path().join("house.toml"), "x").expect("written");
        assert!(timeout(Duration::from_secs(1), receiver.recv()).await.is_err());
    }

    #[tokio::test]
    async fn a_folder_that_goes_and_comes_back_is_seen() {
        let folder = tempfile::tempdir().expect("a folder");
        let house = folder.path().join("rules");
        let mut receiver = start(&house, Apply::Save);
        let write = |round: usize| {
            std::fs::create_dir_all(&house).expect("made");
            std::fs::write(house.join("a.toml"), round.to_string()).expect("written");
        };
        seen_after(&mut receiver, write).await;
        is_quiet(&mut receiver).await;
        std::fs::remove_dir_all(&house).expect("removed");
        timeout(PATIENCE, receiver.recv()).await.expect("seen in time").expect("the watch goes on");
        seen_after(&mut receiver, write).await;
    }

    #[tokio::test]
    async fn a_work_tree_that_is_moved_away_is_missed_soon_and_once_and_found_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let (house, away) = (folder.path().join("rules"), folder.path().join("away"));
        std::fs::create_dir(&house).expect("made");
        git(&house, &["init", "-q"]);
        git(&house, &["commit", "-q", "--allow-empty", "-m", "first"]);
        let mut receiver = start(&house, Apply::Commit);
        for (from, to) in [(&house, &away), (&away, &house)] {
            std::fs::rename(from, to).expect("moved");
            timeout(PATIENCE, receiver.recv()).await.expect("seen in time").expect("the watch goes on");
            assert!(timeout(LOOK * 2, receiver.recv()).await.is_err(), "once is enough");
        }
        seen_after(&mut receiver, |_| git(&house, &["commit", "-q", "--allow-empty", "-m", "more"])).await;
    }

    /// Git keeps its books above the house, where whoever watches saved files does not look.
    #[tokio::test]
    async fn a_work_tree_that_comes_after_the_start_has_its_commits_seen() {
        let folder = tempfile::tempdir().expect("a folder");
        let (away, tree) = (folder.path().join("away"), folder.path().join("tree"));
        std::fs::create_dir_all(away.join("rules")).expect("made");
        git(&away, &["init", "-q"]);
        git(&away, &["commit", "-q", "--allow-empty", "-m", "first"]);
        let mut receiver = start(&tree.join("rules"), None);
        std::fs::rename(&away, &tree).expect("moved");
        timeout(PATIENCE, receiver.recv()).await.expect("seen in time").expect("the watch goes on");
        is_quiet(&mut receiver).await;
        seen_after(&mut receiver, |_| git(&tree, &["commit", "-q", "--allow-empty", "-m", "more"])).await;
        is_quiet(&mut receiver).await;
        std::fs::write(tree.join("rules/house.toml"), "x").expect("written");
        assert!(timeout(Duration::from_secs(1), receiver.recv()).await.is_err(), "saved is not committed");
    }
}
