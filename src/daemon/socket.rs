//! The command socket: bounded lines, bounded connections, bounded waits. It never touches the engine; requests travel to
//! the loop and answers come back.

use std::io;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::unix::{OwnedReadHalf, UCred};
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::Semaphore;
use tokio::task::JoinHandle;
use tokio::time::timeout;

use super::asking::Asking;
use super::log::Once;
use super::protocol::{REQUEST_BYTES, Response, SOCKET};
use crate::engine::By;

/// So many people at once.
const CONNECTIONS: usize = 16;
/// A connection that says nothing for this long is closed.
const IDLE: Duration = Duration::from_secs(30);
/// After so long in which nobody came it is seen to that the socket's file is still there.
const LOOK_AFTER: Duration = Duration::from_secs(2);
/// How long to wait before a socket that a disk did not take is tried again.
const TRY_AGAIN: Duration = Duration::from_secs(2);
/// A socket's path may have so many bytes, see unix(7): 108 with the zero that ends it.
const PATH_BYTES: usize = 107;
/// The owner and the group of the service may use it.
const MODE: u32 = 0o660;

/// The listening socket; the file is removed when dropped.
pub struct CommandSocket {
    path: PathBuf,
    listener: UnixListener,
    /// Device and number of the file, by which it is known from another's of that name.
    place: Option<(u64, u64)>,
}

impl CommandSocket {
    /// Makes the socket in the data folder. Whoever holds the lock on that folder may replace a file that was left.
    ///
    /// # Errors
    /// When the file cannot be made, or the folder's path is longer than a socket's may be.
    pub fn bind(folder: &Path) -> io::Result<CommandSocket> {
        let path = folder.join(SOCKET);
        let bytes = path.as_os_str().len();
        if bytes > PATH_BYTES {
            let why = format!(
                "its path has {bytes} bytes, and the system takes {PATH_BYTES}; name a `data` folder with a shorter one"
            );
            return Err(io::Error::new(io::ErrorKind::InvalidInput, why));
        }
        match std::fs::remove_file(&path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        let listener = UnixListener::bind(&path)?;
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(MODE))?;
        let place = place(&path);
        Ok(CommandSocket { path, listener, place })
    }

    /// Makes the socket anew where somebody has removed its file. One that another has put there is left alone.
    fn keep(&mut self) {
        if place(&self.path).is_some() {
            return;
        }
        let Some(folder) = self.path.parent() else { return };
        let again = std::fs::create_dir_all(folder).and_then(|()| CommandSocket::bind(folder));
        // Else it is tried again.
        if let Ok(again) = again {
            tracing::warn!("{} was removed while Standfast was running, and is there again", self.path.display());
            // The old file is gone, and the new one may bear its number.
            self.place = None;
            *self = again;
        }
    }

    /// Makes the socket once the disk takes it, and serves from then on.
    pub fn serve_later(folder: PathBuf, asking: Asking) -> JoinHandle<()> {
        tokio::spawn(async move {
            loop {
                tokio::select! {
                    () = tokio::time::sleep(TRY_AGAIN) => {}
                    () = asking.closed() => return,
                }
                if let Ok(socket) = CommandSocket::bind(&folder) {
                    tracing::info!("the command socket is there now");
                    return socket.accept(asking).await;
                }
            }
        })
    }

    /// Serves for ever, from a task of its own; it ends when nobody listens to what is asked.
    pub fn serve(self, asking: Asking) -> JoinHandle<()> {
        tokio::spawn(self.accept(asking))
    }

    async fn accept(mut self, asking: Asking) {
        let places = Arc::new(Semaphore::new(CONNECTIONS));
        let mut failing = Once::default();
        loop {
            // Whoever comes when all places are taken waits in the kernel's queue.
            let Ok(place) = places.clone().acquire_owned().await else { return };
            let stream = tokio::select! {
                accepted = self.listener.accept() => match accepted {
                    Ok((stream, _)) => stream,
                    Err(error) => {
                        // Out of descriptors, most likely; it passes, and one line tells of it.
                        failing.failed(&format!("the command socket cannot accept: {error}"));
                        tokio::time::sleep(Duration::from_millis(200)).await;
                        continue;
                    }
                },
                () = tokio::time::sleep(LOOK_AFTER) => {
                    self.keep();
                    continue;
                }
                () = asking.closed() => return,
            };
            failing.works();
            let asking = asking.clone();
            tokio::spawn(async move {
                if let Err(error) = converse(stream, &asking).await {
                    tracing::debug!("command socket: {error}");
                }
                drop(place);
            });
        }
    }
}

impl Drop for CommandSocket {
    fn drop(&mut self) {
        // Gone already is as good, and another's is not ours to remove.
        if self.place.is_some() && place(&self.path) == self.place {
            let _ = std::fs::remove_file(&self.path);
        }
    }
}

/// Device and number of a file; `None` where there is none.
fn place(path: &Path) -> Option<(u64, u64)> {
    std::fs::metadata(path).ok().map(|found| (found.dev(), found.ino()))
}

/// Answers one line after the other until the other end closes.
async fn converse(stream: UnixStream, asking: &Asking) -> io::Result<()> {
    let user = stream.peer_cred().map_or_else(|_| String::new(), |peer| user_name(&peer));
    let (read, mut write) = stream.into_split();
    let mut read = BufReader::new(read);
    loop {
        let Ok(line) = timeout(IDLE, next_line(&mut read)).await else { return Ok(()) };
        let Some(line) = line? else { return Ok(()) };
        let (response, go_on) = if line.len() > REQUEST_BYTES {
            (Response::failed(format!("a request is one line of at most {REQUEST_BYTES} bytes")), false)
        } else {
            (answer(&line, &user, asking).await, true)
        };
        let mut text = serde_json::to_vec(&response)?;
        text.push(b'\n');
        timeout(IDLE, write.write_all(&text)).await??;
        if !go_on {
            return Ok(());
        }
    }
}

/// A line without its end, or as much of it as shows that it is too long; `None` at the end.
async fn next_line(read: &mut BufReader<OwnedReadHalf>) -> io::Result<Option<Vec<u8>>> {
    let mut line = Vec::new();
    let most = REQUEST_BYTES as u64 + 2;
    if read.take(most).read_until(b'\n', &mut line).await? == 0 {
        return Ok(None);
    }
    if line.last() == Some(&b'\n') {
        line.pop();
    }
    Ok(Some(line))
}

async fn answer(line: &[u8], user: &str, asking: &Asking) -> Response {
    match serde_json::from_slice(line) {
        Ok(request) => asking.ask(request, By::Command(user.to_owned())).await,
        Err(error) => Response::failed(format!("the request is not understood: {error}")),
    }
}

/// The name of the user at the other end, by the system's list of users.
fn user_name(peer: &UCred) -> String {
    let uid = peer.uid().to_string();
    let users = std::fs::read_to_string("/etc/passwd").unwrap_or_default();
    let name = users.lines().find_map(|line| {
        let mut parts = line.split(':');
        let name = parts.next()?;
        (parts.nth(1)? == uid).then(|| name.to_owned())
    });
    name.unwrap_or_else(|| format!("user {uid}"))
}

#[cfg(test)]
mod tests {
    use tokio::sync::mpsc;

    use super::super::asking::{Asked, asking};
    use super::super::protocol::{Request, ResponseOutcome};
    use super::*;

    struct Daemon {
        folder: tempfile::TempDir,
        asked: mpsc::Receiver<Asked>,
    }

    impl Daemon {
        fn start() -> Daemon {
            let folder = tempfile::tempdir().expect("a folder");
            let (asking, asked) = asking();
            CommandSocket::bind(folder.path()).expect("bound").serve(asking);
            Daemon { folder, asked }
        }

        async fn connect(&self) -> BufReader<UnixStream> {
            BufReader::new(UnixStream::connect(self.folder.path().join(SOCKET)).await.expect("connected"))
        }
    }

    async fn say(stream: &mut BufReader<UnixStream>, line: &[u8]) -> Response {
        stream.write_all(line).await.expect("written");
        let mut text = String::new();
        timeout(IDLE, stream.read_line(&mut text)).await.expect("in time").expect("read");
        serde_json::from_str(&text).unwrap_or_else(|error| panic!("{text}: {error}"))
    }

    #[tokio::test]
    async fn a_request_travels_to_the_loop_and_back() {
        let mut daemon = Daemon::start();
        let mut stream = daemon.connect().await;
        let echo = tokio::spawn(async move {
            while let Some(asked) = daemon.asked.recv().await {
                let text = format!("{:?} by {}", asked.request, asked.by.words());
                asked.answer.send(Response::done(text)).expect("somebody waits");
            }
            daemon.folder
        });
        let response = say(&mut stream, b"{\"do\":\"apply\"}\n").await;
        let asked = "Apply { preview: false } by a command of ";
        assert!(response.text.starts_with(asked) && response.text.len() > asked.len(), "{response:?}");
        let response = say(&mut stream, b"nonsense\n").await;
        assert_eq!(response.outcome, ResponseOutcome::Failed);
        // The connection survives a slip.
        assert_eq!(say(&mut stream, b"{\"do\":\"status\"}\n").await.outcome, ResponseOutcome::Done);
        echo.abort();
    }

    #[tokio::test]
    async fn a_line_without_end_is_cut_off() {
        let daemon = Daemon::start();
        let mut stream = daemon.connect().await;
        let response = say(&mut stream, &vec![b'x'; REQUEST_BYTES + 2]).await;
        assert!(response.text.contains("at most 4096 bytes"), "{response:?}");
        let mut rest = String::new();
        assert_eq!(stream.read_line(&mut rest).await.expect("closed"), 0);
    }

    #[tokio::test]
    async fn many_idle_connections_do_not_keep_others_out_for_ever() {
        let mut daemon = Daemon::start();
        let mut idle = Vec::new();
        for _ in 0..CONNECTIONS {
            idle.push(daemon.connect().await);
        }
        let mut late = daemon.connect().await;
        late.write_all(b"{\"do\":\"status\"}\n").await.expect("written");
        assert!(timeout(Duration::from_millis(300), daemon.asked.recv()).await.is_err());
        idle.pop();
        let asked = timeout(IDLE, daemon.asked.recv()).await.expect("in time").expect("asked");
        assert_eq!(asked.request, Request::Status);
    }

    #[tokio::test]
    async fn the_file_is_for_owner_and_group_and_replaces_one_that_was_left() {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::write(folder.path().join(SOCKET), "left").expect("written");
        let socket = CommandSocket::bind(folder.path()).expect("bound");
        let mode = std::fs::metadata(folder.path().join(SOCKET)).expect("there").permissions().mode();
        assert_eq!(mode & 0o777, MODE);
        drop(socket);
        assert!(!folder.path().join(SOCKET).exists());
    }

    #[tokio::test]
    async fn a_path_that_is_too_long_for_a_socket_is_said_to_be() {
        let above = tempfile::tempdir().expect("a folder");
        let room = PATH_BYTES - above.path().as_os_str().len() - "/".len() - "/".len() - SOCKET.len();
        let bind = |length: usize| {
            let folder = above.path().join("d".repeat(length));
            std::fs::create_dir(&folder).expect("made");
            CommandSocket::bind(&folder).map(drop).map_err(|error| error.to_string())
        };
        assert_eq!(bind(room), Ok(()));
        assert!(bind(room + 1).is_err_and(|why| why.contains("has 108 bytes, and the system takes 107")));
    }

    #[tokio::test]
    async fn a_file_that_is_removed_is_made_again_with_its_folder_and_anothers_is_left_alone() {
        let above = tempfile::tempdir().expect("a folder");
        let folder = above.path().join("data");
        std::fs::create_dir(&folder).expect("made");
        let path = folder.join(SOCKET);
        let mut socket = CommandSocket::bind(&folder).expect("bound");
        std::fs::remove_dir_all(&folder).expect("removed");
        socket.keep();
        assert!(UnixStream::connect(&path).await.is_ok());
        std::fs::remove_file(&path).expect("removed");
        std::fs::write(&path, "another's").expect("written");
        socket.keep();
        drop(socket);
        assert_eq!(std::fs::read_to_string(&path).expect("still there"), "another's");
    }
}
