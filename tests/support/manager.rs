//! The service manager's end of sd_notify(3): datagrams on the socket named by `$NOTIFY_SOCKET`. It never answers.

use std::ffi::OsStr;
use std::io::ErrorKind;
use std::os::unix::net::UnixDatagram;
use std::path::PathBuf;
use std::time::Duration;

use super::process::TEN_SECONDS;

/// A service manager that listens.
#[derive(Debug)]
pub struct Manager {
    path: PathBuf,
    socket: UnixDatagram,
    seen: Vec<String>,
}

impl Manager {
    /// Listens at a path that is free.
    pub fn listen(path: PathBuf) -> Manager {
        let socket = UnixDatagram::bind(&path).expect("bound");
        Manager { path, socket, seen: Vec::new() }
    }

    /// What stands in `$NOTIFY_SOCKET`.
    pub fn socket(&self) -> &OsStr {
        self.path.as_os_str()
    }

    /// The next datagram; `None` when none comes in time.
    pub fn next(&mut self, patience: Duration) -> Option<String> {
        self.socket.set_read_timeout(Some(patience.max(Duration::from_millis(1)))).expect("set");
        let mut bytes = [0_u8; 4096];
        match self.socket.recv(&mut bytes) {
            Ok(length) => {
                let text = String::from_utf8_lossy(&bytes[..length]).into_owned();
                self.seen.push(text.clone());
                Some(text)
            }
            Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => None,
            Err(error) => panic!("{error}"),
        }
    }

    /// Reads on until a line is said. Panics with all that was said when it does not come.
    pub fn expect(&mut self, wanted: &str) -> String {
        while let Some(text) = self.next(TEN_SECONDS) {
            if text.lines().any(|line| line == wanted) {
                return text;
            }
        }
        panic!("{wanted} was not said; said was: {:?}", self.seen);
    }

    /// Reads what has come up to now, and says whether a line was ever said.
    pub fn has_heard(&mut self, line: &str) -> bool {
        while self.next(Duration::ZERO).is_some() {}
        self.seen.iter().any(|text| text.lines().any(|said| said == line))
    }
}
