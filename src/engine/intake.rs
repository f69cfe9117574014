//! From what the wire understood to what the engine is told. It never decodes bytes and never decides.

use super::{By, Event, Hand, HandOrder};
use crate::house::Term;
use crate::wire::{HoldWord, Incoming};

/// One thing that a message leads to.
#[derive(Clone, Debug, PartialEq)]
pub enum Taken {
    /// The engine is to be told.
    Event(Event),
    /// A part of it was refused, in words; the log is to be told, sparingly.
    Refused(String),
}

/// Calls `each` for everything that a message leads to; `token` is given back with the answer to a hold.
pub fn take(incoming: Incoming<'_>, token: u64, each: &mut impl FnMut(Taken)) {
    let event = match incoming {
        Incoming::Life { board, life } => Event::Life { board, life },
        Incoming::Report { board, report } => Event::Report { board, report },
        Incoming::Input { port, word } => Event::Input { port, word },
        Incoming::Readings(readings) => {
            for (sensor, value) in readings.iter() {
                match value {
                    Ok(value) => each(Taken::Event(Event::Reading { sensor, value })),
                    Err(refusal) => {
                        each(Taken::Refused(refusal.to_string()));
                        each(Taken::Event(Event::ReadingRefused { sensor }));
                    }
                }
            }
            return;
        }
        Incoming::Hold { load, word } => {
            let order = match word {
                HoldWord::Release => HandOrder::Release { load },
                HoldWord::Hold { state, term } => match term.map(|term| Term::parse(&term)).transpose() {
                    Ok(term) => HandOrder::Hold { load, state, term },
                    Err(error) => return each(Taken::Refused(error.to_string())),
                },
            };
            Event::Hand(Hand { token, by: By::Message, order })
        }
    };
    each(Taken::Event(event));
}
