//! From what the wire understood to what the engine is told. It never decodes bytes and never decides.

use super::{By, Event, Hand, HandOrder};
use crate::calendar::ScheduleError;
use crate::house::{LoadId, SelectorId, SetpointId, Term};
use crate::wire::{Foreign, HoldWord, Incoming, Readings, SelectorWord, SetpointWord};

/// One thing that a message leads to.
#[derive(Clone, Debug, PartialEq)]
pub enum Taken {
    /// The engine is to be told.
    Event(Event),
    /// A part of it was refused, in words; the log is to be told, sparingly.
    Refused(String),
}

/// Calls `each` for everything that a message leads to; `token` is given back with the answer to a person's order.
pub fn take(incoming: Incoming<'_>, token: u64, each: &mut impl FnMut(Taken)) {
    let event = match incoming {
        Incoming::Life { board, life } => Event::Life { board, life },
        Incoming::Report { board, report } => Event::Report { board, report },
        Incoming::Input { port, word } => Event::Input { port, word },
        Incoming::Readings(readings) => return take_readings(&readings, each),
        Incoming::Foreign(Foreign { words, readings }) => {
            for (board, word) in words {
                each(match word {
                    Ok(word) => Taken::Event(Event::Foreign { board, word }),
                    Err(refusal) => Taken::Refused(refusal.to_string()),
                });
            }
            return readings.iter().for_each(|readings| take_readings(readings, each));
        }
        Incoming::Hold { load, word } => return each(by_message(token, held(load, word))),
        Incoming::Selector { selector, word } => return each(by_message(token, selected(selector, word))),
        Incoming::Setpoint { setpoint, word } => return each(by_message(token, adjusted(setpoint, word))),
    };
    each(Taken::Event(event));
}

fn by_message(token: u64, order: Result<HandOrder, ScheduleError>) -> Taken {
    match order {
        Ok(order) => Taken::Event(Event::Hand(Hand { token, by: By::Message, order })),
        Err(error) => Taken::Refused(error.to_string()),
    }
}

fn held(load: LoadId, word: HoldWord) -> Result<HandOrder, ScheduleError> {
    Ok(match word {
        HoldWord::Release => HandOrder::Release { load },
        HoldWord::Hold { state, term } => HandOrder::Hold { load, state, term: read(term)? },
    })
}

fn selected(selector: SelectorId, word: SelectorWord) -> Result<HandOrder, ScheduleError> {
    Ok(match word {
        SelectorWord::Release => HandOrder::ReturnSelector { selector },
        SelectorWord::Turn { position, term } => HandOrder::Select { selector, position, term: read(term)? },
    })
}

fn adjusted(setpoint: SetpointId, word: SetpointWord) -> Result<HandOrder, ScheduleError> {
    Ok(match word {
        SetpointWord::Release => HandOrder::ReturnSetpoint { setpoint },
        SetpointWord::Set { value, term } => HandOrder::Adjust { setpoint, value, term: read(term)? },
    })
}

fn read(term: Option<String>) -> Result<Option<Term>, ScheduleError> {
    term.map(|term| Term::parse(&term)).transpose()
}

fn take_readings(readings: &Readings<'_>, each: &mut impl FnMut(Taken)) {
    for (sensor, value) in readings.iter() {
        match value {
            Ok(value) => each(Taken::Event(Event::Reading { sensor, value })),
            Err(refusal) => {
                each(Taken::Refused(refusal.to_string()));
                each(Taken::Event(Event::ReadingRefused { sensor }));
            }
        }
    }
}
