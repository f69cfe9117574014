//! The page's password: its hash, and whether a word is it. Work is bounded, since whoever may try costs memory and time each
//! try. It never keeps a password.

use std::fmt;
use std::sync::Arc;

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params};
use ring::hmac;
use ring::rand::SystemRandom;
use tokio::sync::Semaphore;

use crate::daemon::config::Secret;

/// The shortest password, in characters.
pub const CHARS_MIN: usize = 8;
/// The longest password, in bytes.
pub const BYTES_MAX: usize = 1024;
/// The most memory that a hash may ask for, in KiB.
const MEMORY_MAX: u32 = 256 * 1024;
/// The most passes and lanes that a hash may ask for.
const PASSES_MAX: u32 = 16;
/// So many tries are worked on at once.
const AT_WORK: usize = 1;
/// So many wait for that.
const WAITING: usize = 8;

/// Why a text is no hash of a password that can be used here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoHash;

impl fmt::Display for NoHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("it is no argon2id hash, or asks for more work than is sensible")
    }
}

/// Hashes a password with a salt of its own, as a PHC string.
///
/// # Errors
/// Where the system has no chance to give.
pub fn hash(password: &str) -> Result<String, String> {
    Argon2::default().hash_password(password.as_bytes()).map(|hash| hash.to_string()).map_err(|error| error.to_string())
}

/// Whether a text is the hash of a password and asks for a sensible amount of work.
///
/// # Errors
/// Where it is not.
pub fn check(hash: &str) -> Result<(), NoHash> {
    let parsed = PasswordHash::new(hash).map_err(|_| NoHash)?;
    let params = Params::try_from(&parsed).map_err(|_| NoHash)?;
    let is_sensible = params.m_cost() <= MEMORY_MAX && params.t_cost() <= PASSES_MAX && params.p_cost() <= PASSES_MAX;
    let is_argon2id = Algorithm::try_from(parsed.algorithm.as_str()) == Ok(Algorithm::Argon2id);
    if is_sensible && is_argon2id && parsed.hash.is_some() { Ok(()) } else { Err(NoHash) }
}

/// What became of a try.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tried {
    /// It is the password.
    Right,
    /// It is not.
    Wrong,
    /// Too many try at once.
    Busy,
}

/// The password that is wanted.
pub struct Password {
    hash: Secret,
    work: Arc<Semaphore>,
    places: Semaphore,
    /// Keyed anew in each process: a password that was right once is known again without the work.
    key: hmac::Key,
    known: std::sync::OnceLock<hmac::Tag>,
}

impl Password {
    /// By its hash, which was checked.
    ///
    /// # Errors
    /// Where the system has no chance to give.
    pub fn new(hash: Secret) -> Result<Password, String> {
        let key = hmac::Key::generate(hmac::HMAC_SHA256, &SystemRandom::new())
            .map_err(|_| "the system gives no random numbers".to_owned())?;
        let (work, places) = (Arc::new(Semaphore::new(AT_WORK)), Semaphore::new(WAITING));
        Ok(Password { hash, work, places, key, known: std::sync::OnceLock::new() })
    }

    /// The hash.
    pub fn hash(&self) -> &Secret {
        &self.hash
    }

    /// Whether it is one that was right before, without any work.
    pub fn is_known(&self, word: &str) -> bool {
        self.known.get().is_some_and(|known| hmac::verify(&self.key, word.as_bytes(), known.as_ref()).is_ok())
    }

    /// Tries a word, beside the threads that serve others.
    pub async fn try_word(&self, word: String) -> Tried {
        if self.is_known(&word) {
            return Tried::Right;
        }
        if word.len() > BYTES_MAX {
            return Tried::Wrong;
        }
        let Ok(_place) = self.places.try_acquire() else { return Tried::Busy };
        let Ok(permit) = self.work.clone().acquire_owned().await else { return Tried::Busy };
        let (hash, tag) = (self.hash.clone(), hmac::sign(&self.key, word.as_bytes()));
        let verified = tokio::task::spawn_blocking(move || {
            let _permit = permit;
            let Ok(hash) = PasswordHash::new(hash.reveal()) else { return false };
            Argon2::default().verify_password(word.as_bytes(), &hash).is_ok()
        });
        match verified.await {
            Ok(true) => {
                // Set already by another try that was right at the same time.
                let _ = self.known.set(tag);
                Tried::Right
            }
            _ => Tried::Wrong,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hash_is_argon2id_and_asks_for_a_sensible_amount_of_work() {
        assert_eq!(check(&hash("correct horse").unwrap()), Ok(()));
        let hash =
            |parameters: &str| format!("$argon2id$v=19${parameters}$c29tZXNhbHRzb21l$RdescudvJCsgt3ub+b4dWRWJTmaaJObG");
        assert_eq!(check(&hash("m=65536,t=2,p=1")), Ok(()));
        for wrong in [
            "",
            "h",
            "password",
            "$argon2id$v=19$m=65536,t=2,p=1",
            &hash("m=4194304,t=2,p=1"),
            &hash("m=65536,t=900,p=1"),
        ] {
            assert_eq!(check(wrong), Err(NoHash), "{wrong}");
        }
        assert_eq!(check(&hash("m=65536,t=2,p=1").replace("argon2id", "argon2i")), Err(NoHash));
    }

    /// The test vector of RFC 9106 has a secret and associated data, which passwords have not; this one is from the
    /// reference implementation's own tests (P-H-C/phc-winner-argon2, src/test.c: argon2id, v=19, t=2, m=65536, p=1).
    #[tokio::test]
    async fn it_agrees_with_the_reference_implementation() {
        let reference = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";
        let password = Password::new(Secret::new(reference.to_owned())).unwrap();
        assert_eq!(check(reference), Ok(()));
        assert!(!password.is_known("password"));
        assert_eq!(password.try_word("Password".to_owned()).await, Tried::Wrong);
        assert_eq!(password.try_word("password".to_owned()).await, Tried::Right);
        assert!(password.is_known("password") && !password.is_known("Password"));
        assert_eq!(password.try_word("x".repeat(BYTES_MAX + 1)).await, Tried::Wrong);
    }

    #[tokio::test]
    async fn so_many_tries_wait_and_no_more() {
        let password = Arc::new(Password::new(Secret::new(hash("correct horse").unwrap())).unwrap());
        let tries: Vec<_> = (0..40)
            .map(|number| {
                let password = password.clone();
                tokio::spawn(async move { password.try_word(format!("wrong {number}")).await })
            })
            .collect();
        let mut busy = 0;
        for one in tries {
            busy += usize::from(one.await.unwrap() == Tried::Busy);
        }
        assert!((30..40).contains(&busy), "{busy} of 40 were turned away");
        assert_eq!(password.try_word("correct horse".to_owned()).await, Tried::Right);
    }
}
