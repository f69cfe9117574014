//! What people ask over the command socket or the page, carried to the engine. It never decides whether an order is sensible.

use tokio::sync::oneshot;

use super::asking::Asked;
use super::keeper::Keeper;
use super::looks::{Look, look};
use super::modes;
use super::protocol::{Refusal, RefusalKind, Request, Response};
use super::status::{Standing, status};
use super::words::{Replies, one_line};
use crate::engine::{Event, Hand, HandOrder, MEMORY_ALARM};
use crate::house::{LoadId, State};
use crate::syntax::nearest;
use crate::units::counted;

/// The longest reason that is kept, in characters.
pub const WHY_CHARS: usize = 200;

/// A request that the keeper alone cannot answer.
pub enum Left {
    /// Read the house again and run it.
    Apply(oneshot::Sender<Response>),
    /// Read the house again and say what running it would change.
    Preview(oneshot::Sender<Response>),
    /// How everything is, to be answered with what git knows of files that are not committed.
    Status(Response, oneshot::Sender<Response>),
    /// Look at what is on disk.
    Look(Look, oneshot::Sender<Response>),
}

/// Answers a request, or hands back what is the loop's.
pub fn take(keeper: &mut Keeper, asked: Asked) -> Option<Left> {
    let Asked { request, by, answer } = asked;
    let stood = keeper.turn();
    match look(keeper, &request) {
        Some(Ok(look)) => return Some(Left::Look(look, answer)),
        Some(Err(why)) => {
            let _ = answer.send(Response::refused(why));
            return None;
        }
        None => {}
    }
    let replies = Replies { done: done_words(&request), nothing: nothing_words(&request) };
    let order = match request {
        Request::Apply { preview: false } => return Some(Left::Apply(answer)),
        Request::Apply { preview: true } => return Some(Left::Preview(answer)),
        Request::Status => {
            let engine = keeper.look();
            return Some(Left::Status(status(&Standing::of(keeper, &engine)), answer));
        }
        Request::Board { board } => {
            let _ = answer.send(super::commissioning::board(keeper, &board));
            return None;
        }
        Request::Seen { after } => {
            let seen = keeper.seen();
            let house = keeper.engine().house();
            let said: Vec<_> = seen.after(after.unwrap_or(seen.last())).map(|one| one.clone().by(house)).collect();
            let data = serde_json::json!({ "seen": said, "next": seen.last() });
            let _ = answer.send(Response::found(format!("{} said", counted(said.len(), "thing")), data));
            return None;
        }
        Request::Why { load, .. } => {
            let _ = answer.send(why(keeper, &load));
            return None;
        }
        // A look, answered above.
        Request::Journal { .. } | Request::Readings { .. } | Request::History { .. } => return None,
        Request::Hold { load, state, term } => find(keeper, &load).and_then(|load| {
            let state = state_of(keeper, load, &state)?;
            Ok(HandOrder::Hold { load, state, term: modes::term(term)? })
        }),
        Request::Select { selector, position, term } => {
            modes::select(keeper.engine().house(), &selector, position, term)
        }
        Request::Set { setpoint, value, term } => modes::set(keeper.engine().house(), &setpoint, &value, term),
        Request::Release { load } => find(keeper, &load).map(|load| HandOrder::Release { load }),
        Request::Withdraw { load, why } => {
            find(keeper, &load).map(|load| HandOrder::Withdraw { load, why: one_line(&why, WHY_CHARS) })
        }
        Request::Restore { load, why } => {
            find(keeper, &load).map(|load| HandOrder::Restore { load, why: one_line(&why, WHY_CHARS) })
        }
        Request::Reset { load } => find(keeper, &load).map(|load| HandOrder::Reset { load }),
        Request::Acknowledge { alarm } => find_alarm(keeper, alarm).map(|alarm| HandOrder::Acknowledge { alarm }),
    };
    match (order, stood) {
        (Err(why), _) => drop(answer.send(Response::refused(why))),
        // Out of service sooner or later is no surprise to anybody.
        (Ok(order), Some(stood)) if !matches!(order, HandOrder::Withdraw { .. }) => {
            let why =
                format!("Standfast stood still for {stood} just now, and what waited meanwhile is void; say it again");
            let _ = answer.send(Response::refused(why));
        }
        (Ok(order), _) => {
            let token = keeper.open(answer, replies);
            keeper.step(Event::Hand(Hand { token, by, order }));
        }
    }
    None
}

/// What to say when it is done. A hold is answered with its end, which only the engine knows.
fn done_words(request: &Request) -> String {
    match request {
        Request::Release { load } => format!("{load} is released; its rules decide again"),
        Request::Withdraw { load, .. } => {
            format!(
                "{load} is withdrawn: out of service until it is restored. This is no isolation; do that before you work on it"
            )
        }
        Request::Restore { load, .. } => format!("{load} is back in service"),
        Request::Reset { load } => format!("the safety trips of {load} are reset"),
        Request::Acknowledge { alarm } if alarm == MEMORY_ALARM => {
            format!("alarm {alarm} is acknowledged, and over with that: what was forgotten does not come back")
        }
        Request::Acknowledge { alarm } => format!("alarm {alarm} is acknowledged; it stands until its reason is gone"),
        Request::Select { selector, .. } => format!("selector {selector} is back at its first position"),
        Request::Set { setpoint, .. } => format!("setpoint {setpoint} is back at its value in the file"),
        _ => String::new(),
    }
}

/// What to say when there was nothing to do, and why.
fn nothing_words(request: &Request) -> String {
    match request {
        Request::Hold { .. } => "there was nothing to do: the hold would be over already".to_owned(),
        Request::Release { load } => format!("there was nothing to do: {load} is not held"),
        Request::Withdraw { load, .. } => format!("there was nothing to do: {load} is withdrawn already"),
        Request::Restore { load, .. } => format!("there was nothing to do: {load} is not withdrawn"),
        Request::Reset { load } => format!("there was nothing to do: no safety trip or failed proof of {load} waits"),
        Request::Acknowledge { alarm } => format!("there was nothing to do: alarm {alarm} is acknowledged already"),
        Request::Select { selector, position, .. } if position == "release" => {
            format!("there was nothing to do: selector {selector} is at its first position, and nobody has turned it")
        }
        Request::Select { selector, position, .. } => {
            format!("there was nothing to do: selector {selector} is {position} already")
        }
        Request::Set { setpoint, value, .. } if value == "release" => {
            format!("there was nothing to do: setpoint {setpoint} has its value in the file, and nobody has set it")
        }
        Request::Set { setpoint, value, .. } => {
            format!("there was nothing to do: setpoint {setpoint} is {value} already")
        }
        _ => String::new(),
    }
}

fn find(keeper: &Keeper, name: &str) -> Result<LoadId, Refusal> {
    let house = keeper.engine().house();
    house.load_named(name).ok_or_else(|| unknown("load", name, house.loads.iter().map(|load| load.name.as_str())))
}

/// The name of a load that the house has.
pub(super) fn known_load(keeper: &Keeper, name: &str) -> Result<String, Refusal> {
    find(keeper, name).map(|_| name.to_owned())
}

/// A state in the words of a load.
fn state_of(keeper: &Keeper, load: LoadId, word: &str) -> Result<State, Refusal> {
    let load = keeper.engine().house().load(load);
    load.words().state(word).ok_or_else(|| {
        let (name, what) = (&load.name, load.section());
        let article = if what == "actuator" { "an" } else { "a" };
        let [on, off] = [State::On, State::Off].map(|state| load.word(state));
        Refusal::malformed(format!("{name} is {article} {what}, so it is held {on} or {off}, not {word:?}"))
    })
}

fn find_alarm(keeper: &Keeper, id: String) -> Result<String, Refusal> {
    let alarms = keeper.engine().alarms();
    if alarms.contains_key(&id) { Ok(id) } else { Err(unknown("alarm", &id, alarms.keys().map(String::as_str))) }
}

pub(super) fn unknown<'n>(what: &str, name: &str, names: impl Iterator<Item = &'n str> + Clone) -> Refusal {
    let help = match nearest(name, names.clone()) {
        Some(near) => format!("; did you mean \"{near}\"?"),
        None => {
            let names: Vec<&str> = names.collect();
            if names.is_empty() { String::new() } else { format!("; there are: {}", names.join(", ")) }
        }
    };
    Refusal { kind: RefusalKind::Unknown, text: format!("there is no {what} \"{name}\"{help}") }
}

/// Everything that speaks to a load now.
fn why(keeper: &mut Keeper, load: &str) -> Response {
    let load = match find(keeper, load) {
        Ok(load) => load,
        Err(why) => return Response::refused(why),
    };
    let engine = keeper.look();
    let reasons = engine.reasons(load);
    let text = reasons.text(&engine.house().site.zone, engine.now().wall);
    Response::found(text, serde_json::to_value(reasons).unwrap_or_default())
}
