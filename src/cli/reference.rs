//! `standfast reference`: the language of the house, every key of it. It prints what the key tables say and nothing else.

use std::io::Write;

use super::{Answer, Outcome};
use crate::syntax::reference;

/// Prints the reference.
pub fn run() -> Answer {
    std::io::stdout().lock().write_all(reference().as_bytes())?;
    Ok(Outcome::Yes)
}
