//! Log-ins: who holds a cookie, until when. Kept on disk, so that a restart logs nobody out. What a cookie holds is never kept,
//! only its digest; another password ends all of them.

use std::collections::BTreeMap;
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ring::digest::{SHA256, digest};
use ring::rand::{SecureRandom, SystemRandom};
use serde::{Deserialize, Serialize};

use crate::units::{Span, WallTime};

/// The cookie's name without TLS and with it: a browser takes the second from this host over TLS only.
pub const COOKIES: [&str; 2] = ["standfast", "__Host-standfast"];
/// A log-in lasts so long.
pub const LASTS: Span = Span::from_h(30 * 24);
/// So many at once; the oldest makes room.
const SESSIONS: usize = 64;
/// The file below the data folder.
pub const FILE: &str = "sessions.json";
/// The largest file that is read, in bytes.
const FILE_BYTES: u64 = 64 * 1024;

/// One log-in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Session {
    /// The name that was given; may be empty.
    name: String,
    began: WallTime,
}

/// What is on disk.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    /// The digest of the hash of the password with which they began.
    password: String,
    /// By the digest of the cookie.
    sessions: BTreeMap<String, Session>,
}

/// All log-ins.
pub struct Sessions {
    file: PathBuf,
    password: String,
    sessions: Mutex<BTreeMap<String, Session>>,
}

impl Sessions {
    /// Those on disk that began with the same password. What cannot be read is left behind: people log in again.
    pub fn open(file: PathBuf, password_hash: &str) -> Sessions {
        let password = digest_of(password_hash);
        let is_small = std::fs::metadata(&file).is_ok_and(|file| file.len() <= FILE_BYTES);
        let text = if is_small { std::fs::read(&file).unwrap_or_default() } else { Vec::new() };
        let kept = serde_json::from_slice::<Kept>(&text).ok().filter(|kept| kept.password == password);
        let sessions = kept.map(|kept| kept.sessions).unwrap_or_default();
        Sessions { file, password, sessions: Mutex::new(sessions) }
    }

    /// Begins one; yields what the cookie holds. Blocks for as long as the disk takes.
    ///
    /// # Errors
    /// Where the system has no chance to give.
    pub fn begin(&self, name: String, now: WallTime) -> Result<String, String> {
        let mut bytes = [0; 32];
        SystemRandom::new().fill(&mut bytes).map_err(|_| "the system gives no random numbers".to_owned())?;
        let cookie = URL_SAFE_NO_PAD.encode(bytes);
        let mut sessions = self.sessions.lock().unwrap_or_else(PoisonError::into_inner);
        sessions.retain(|_, session| is_valid(session, now));
        while sessions.len() >= SESSIONS {
            let oldest = sessions.iter().min_by_key(|(_, session)| session.began).map(|(key, _)| key.clone());
            let Some(oldest) = oldest else { break };
            sessions.remove(&oldest);
        }
        sessions.insert(digest_of(&cookie), Session { name, began: now });
        self.save(&sessions);
        Ok(cookie)
    }

    /// The name with which a log-in began; `None` where a cookie is none, or its time is over.
    pub fn name(&self, cookie: &str, now: WallTime) -> Option<String> {
        let sessions = self.sessions.lock().unwrap_or_else(PoisonError::into_inner);
        sessions.get(&digest_of(cookie)).filter(|session| is_valid(session, now)).map(|session| session.name.clone())
    }

    /// Ends one. Blocks for as long as the disk takes.
    pub fn end(&self, cookie: &str) {
        let mut sessions = self.sessions.lock().unwrap_or_else(PoisonError::into_inner);
        if sessions.remove(&digest_of(cookie)).is_some() {
            self.save(&sessions);
        }
    }

    fn save(&self, sessions: &BTreeMap<String, Session>) {
        let kept = Kept { password: self.password.clone(), sessions: sessions.clone() };
        let next = self.file.with_extension("next");
        let written = serde_json::to_vec(&kept).map_err(std::io::Error::from).and_then(|bytes| {
            let mut file =
                std::fs::OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&next)?;
            file.write_all(&bytes)?;
            file.sync_all()?;
            std::fs::rename(&next, &self.file)
        });
        if let Err(error) = written {
            tracing::warn!("log-ins cannot be kept, so a restart ends them: {}: {error}", self.file.display());
        }
    }
}

/// A clock that went back before the beginning ends a log-in too, so that none lasts longer than is said.
fn is_valid(session: &Session, now: WallTime) -> bool {
    let slack = Span::from_min(10);
    session.began - slack <= now && now < session.began + LASTS
}

fn digest_of(text: &str) -> String {
    URL_SAFE_NO_PAD.encode(digest(&SHA256, text.as_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: WallTime = WallTime(1_800_000_000_000);

    #[test]
    fn a_log_in_survives_a_restart_and_no_other_password() {
        let folder = tempfile::tempdir().unwrap();
        let open = |password: &str| Sessions::open(folder.path().join(FILE), password);
        let sessions = open("hash");
        let cookie = sessions.begin("Ann".to_owned(), NOW).unwrap();
        assert!(cookie.len() >= 43 && sessions.begin(String::new(), NOW).unwrap() != cookie);
        let text = std::fs::read_to_string(folder.path().join(FILE)).unwrap();
        assert!(!text.contains(&cookie), "only its digest is kept");
        assert_eq!(open("hash").name(&cookie, NOW).as_deref(), Some("Ann"));
        assert_eq!(open("another").name(&cookie, NOW), None);
        open("hash").end(&cookie);
        assert_eq!(open("hash").name(&cookie, NOW), None);
        std::fs::write(folder.path().join(FILE), "nonsense").unwrap();
        assert_eq!(open("hash").name(&cookie, NOW), None);
    }

    #[test]
    fn it_ends_and_there_are_so_many_at_most() {
        let folder = tempfile::tempdir().unwrap();
        let sessions = Sessions::open(folder.path().join(FILE), "hash");
        let first = sessions.begin(String::new(), NOW).unwrap();
        assert!(sessions.name(&first, NOW + LASTS - Span(1)).is_some());
        assert!(sessions.name(&first, NOW + LASTS).is_none());
        assert!(sessions.name(&first, NOW - Span::from_h(1)).is_none(), "the clock went back");
        for cookie in ["", "x", &first[1..]] {
            assert!(sessions.name(cookie, NOW).is_none());
        }
        for _ in 0..SESSIONS {
            sessions.begin(String::new(), NOW + Span(1)).unwrap();
        }
        assert!(sessions.name(&first, NOW).is_none(), "the oldest made room");
        assert_eq!(sessions.sessions.lock().unwrap().len(), SESSIONS);
    }
}
