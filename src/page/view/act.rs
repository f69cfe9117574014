//! What a person did in a form, carried to the loop in the words of the command line, and the way back to a page that says
//! what was understood. It never decides whether something may be done.

use axum::Extension;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::super::api::extract::Filled;
use super::super::{Caller, Problem, State as Server};
use super::notice::Notices;
use crate::daemon::protocol::Request;
use crate::house::{RELEASE, State as LoadState};

/// A hand on a load.
#[derive(Debug, Deserialize)]
pub struct Hand {
    /// `on`, `off` or `auto`.
    r#do: String,
    /// An end out of the list; the load's own where it is empty.
    #[serde(default)]
    until: String,
    /// An end in words; it counts before the list.
    #[serde(default)]
    said: String,
    /// Which page follows.
    #[serde(default)]
    back: String,
}

/// Out of service, or back.
#[derive(Debug, Deserialize)]
pub struct Service {
    r#do: String,
    #[serde(default)]
    why: String,
}

/// An alarm that was seen.
#[derive(Debug, Deserialize)]
pub struct Seen {
    alarm: String,
    #[serde(default)]
    back: String,
}

/// A selector's position.
#[derive(Debug, Deserialize)]
pub struct Position {
    position: String,
    #[serde(default)]
    said: String,
}

/// A setpoint's value.
#[derive(Debug, Deserialize)]
pub struct Value {
    r#do: String,
    #[serde(default)]
    value: String,
    #[serde(default)]
    said: String,
}

/// An end as it was said; `None` where nothing was.
fn term(said: &str) -> Option<String> {
    let said = said.trim();
    (!said.is_empty()).then(|| said.to_owned())
}

/// Where answers are left for the page that follows, and who asks.
type Ways = (State<Server>, Extension<Notices>, Caller);

/// Asks, keeps the answer for the page that follows, and leads there.
async fn ask(
    (State(server), Extension(notices), caller): Ways,
    request: Request,
    back: &str,
) -> Result<Response, Problem> {
    let response = server.ask(request, caller.on_page()).await?;
    let number = notices.put(response.into());
    Ok(Redirect::to(&format!("{back}?said={number}")).into_response())
}

/// The way back to the page of a load. A name of a load holds nothing that an address must hide; one that is none leads
/// nowhere.
fn load_page(load: &str) -> String {
    let is_name = !load.is_empty() && load.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_'));
    if is_name { format!("/load/{load}") } else { "/".to_owned() }
}

/// The word of a state for a load: an actuator is open or closed.
async fn state_word(server: &Server, load: &str, state: LoadState) -> Result<String, Problem> {
    let glance = server.glance().await?;
    let house = glance.engine.house();
    Ok(house.load_named(load).map_or(state.to_string(), |id| house.load(id).word(state).to_owned()))
}

/// Hand on, hand off, auto.
pub async fn hand(ways: Ways, Path(load): Path<String>, Filled(hand): Filled<Hand>) -> Result<Response, Problem> {
    let state = match hand.r#do.as_str() {
        "on" => Some(LoadState::On),
        "off" => Some(LoadState::Off),
        _ => None,
    };
    let back = if hand.back == "list" { "/".to_owned() } else { load_page(&load) };
    let request = match state {
        Some(state) => {
            let state = state_word(&ways.0, &load, state).await?;
            Request::Hold { load, state, term: term(&hand.said).or_else(|| term(&hand.until)) }
        }
        None => Request::Release { load },
    };
    ask(ways, request, &back).await
}

/// Withdraws a load or restores it.
pub async fn service(ways: Ways, Path(load): Path<String>, Filled(form): Filled<Service>) -> Result<Response, Problem> {
    let back = load_page(&load);
    let request = match form.r#do.as_str() {
        "restore" => Request::Restore { load, why: form.why.trim().to_owned() },
        _ => Request::Withdraw { load, why: form.why.trim().to_owned() },
    };
    ask(ways, request, &back).await
}

/// Resets a load's safety trips.
pub async fn reset(ways: Ways, Path(load): Path<String>) -> Result<Response, Problem> {
    let back = load_page(&load);
    ask(ways, Request::Reset { load }, &back).await
}

/// Acknowledges an alarm.
pub async fn acknowledge(ways: Ways, Filled(seen): Filled<Seen>) -> Result<Response, Problem> {
    let page = ["/sensors", "/settings", "/inputs", "/history", "/house"].into_iter().find(|page| *page == seen.back);
    ask(ways, Request::Acknowledge { alarm: seen.alarm }, page.unwrap_or("/")).await
}

/// Turns a selector.
pub async fn select(
    ways: Ways,
    Path(selector): Path<String>,
    Filled(form): Filled<Position>,
) -> Result<Response, Problem> {
    let request = Request::Select { selector, position: form.position, term: term(&form.said) };
    ask(ways, request, "/settings").await
}

/// Sets a setpoint, or puts it back.
pub async fn set(ways: Ways, Path(setpoint): Path<String>, Filled(form): Filled<Value>) -> Result<Response, Problem> {
    let request = match form.r#do.as_str() {
        RELEASE => Request::Set { setpoint, value: RELEASE.to_owned(), term: None },
        // A comma is what many keyboards offer for decimals.
        _ => Request::Set { setpoint, value: form.value.trim().replace(',', "."), term: term(&form.said) },
    };
    ask(ways, request, "/settings").await
}

/// Takes the house as it is written now.
pub async fn apply(ways: Ways) -> Result<Response, Problem> {
    ask(ways, Request::Apply { preview: false }, "/house").await
}
