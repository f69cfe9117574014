//! What a person may do by hand. It never decides whether it may be done: the engine does, and its words come back.

use axum::Json;
use axum::extract::State as Extracted;
use serde::Deserialize;
use utoipa::ToSchema;

use super::extract::{Body, Name};
use super::shape::Done;
use crate::daemon::protocol::Request;
use crate::daemon::requests::WHY_CHARS;
use crate::page::state::done;
use crate::page::{Caller, Problem, State};

/// The longest term, in characters.
const TERM_CHARS: usize = 64;

/// The outcome of a route.
type Answer = Result<Json<Done>, Problem>;

async fn act(state: &State, caller: Caller, request: Request) -> Answer {
    let response = done(state.ask(request, caller.over_api()).await?)?;
    Ok(Json(Done { text: response.text }))
}

/// A text that is not longer than any that means something.
fn bounded(key: &str, text: String, most: usize) -> Result<String, Problem> {
    if text.chars().count() > most {
        return Err(Problem::bad_request(format!("`{key}` has at most {most} characters")));
    }
    Ok(text)
}

fn term(term: Option<String>) -> Result<Option<String>, Problem> {
    term.map(|term| bounded("term", term, TERM_CHARS)).transpose()
}

/// A state in which a load may be held.
#[derive(Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum HeldState {
    /// Running.
    On,
    /// Not running.
    Off,
    /// Of an actuator: driven open.
    Open,
    /// Of an actuator: driven closed.
    Closed,
}

/// A hold.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "state": "on", "term": "2h" }))]
pub struct HoldOrder {
    /// The state to hold it in.
    state: HeldState,
    /// How long: `2h`, `22:30`, `sunset+30m`, `next change`; as the load's `hold_for` says where it is left out.
    #[schema(max_length = 64, example = "2h")]
    term: Option<String>,
}

/// Hold a load on or off for a while
#[utoipa::path(
    post, path = "/api/loads/{load}/hold", tag = "by hand",
    params(("load" = String, Path, description = "Its name", example = "lamp")), request_body = HoldOrder,
    responses((status = 200, description = "It is held", body = Done)),
)]
pub async fn hold(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Name(load): Name,
    Body(order): Body<HoldOrder>,
) -> Answer {
    let word = match order.state {
        HeldState::On => "on",
        HeldState::Off => "off",
        HeldState::Open => "open",
        HeldState::Closed => "closed",
    };
    act(&state, caller, Request::Hold { load, state: word.to_owned(), term: term(order.term)? }).await
}

/// End a load's hold
#[utoipa::path(
    post, path = "/api/loads/{load}/release", tag = "by hand",
    params(("load" = String, Path, description = "Its name", example = "lamp")),
    responses((status = 200, description = "Its rules decide again", body = Done)),
)]
pub async fn release(Extracted(state): Extracted<State>, caller: Caller, Name(load): Name) -> Answer {
    act(&state, caller, Request::Release { load }).await
}

/// A withdrawal.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Withdrawal {
    /// Why, for whoever comes next.
    #[schema(max_length = 200, example = "new bearings")]
    why: String,
}

/// Take a load out of service
///
/// It is ordered off until somebody restores it. That is not isolation: it does not make the load safe to work on. One that
/// is out of service already stays so, and the reason is written anew.
#[utoipa::path(
    post, path = "/api/loads/{load}/withdraw", tag = "by hand",
    params(("load" = String, Path, description = "Its name", example = "lamp")), request_body = Withdrawal,
    responses((status = 200, description = "It is out of service, not isolated", body = Done)),
)]
pub async fn withdraw(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Name(load): Name,
    Body(Withdrawal { why }): Body<Withdrawal>,
) -> Answer {
    act(&state, caller, Request::Withdraw { load, why: bounded("why", why, WHY_CHARS)? }).await
}

/// The end of a withdrawal.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Restoration {
    /// Why it may go back into service, for the journal.
    #[serde(default)]
    #[schema(max_length = 200, example = "bearings are new")]
    why: String,
}

/// Put a load back into service
#[utoipa::path(
    post, path = "/api/loads/{load}/restore", tag = "by hand",
    params(("load" = String, Path, description = "Its name", example = "lamp")), request_body = Restoration,
    responses((status = 200, description = "It is back in service", body = Done)),
)]
pub async fn restore(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Name(load): Name,
    Body(Restoration { why }): Body<Restoration>,
) -> Answer {
    act(&state, caller, Request::Restore { load, why: bounded("why", why, WHY_CHARS)? }).await
}

/// Let a load's safety trips go whose reason is gone
#[utoipa::path(
    post, path = "/api/loads/{load}/reset", tag = "by hand",
    params(("load" = String, Path, description = "Its name", example = "fan")),
    responses((status = 200, description = "They are reset", body = Done)),
)]
pub async fn reset(Extracted(state): Extracted<State>, caller: Caller, Name(load): Name) -> Answer {
    act(&state, caller, Request::Reset { load }).await
}

/// Note that an alarm was seen
#[utoipa::path(
    post, path = "/api/alarms/{alarm}/acknowledge", tag = "by hand",
    params(("alarm" = String, Path, description = "Its id", example = "board-yard")),
    responses((status = 200, description = "It is noted; the alarm stands until its reason is gone, `memory` until it was seen", body = Done)),
)]
pub async fn acknowledge(Extracted(state): Extracted<State>, caller: Caller, Name(alarm): Name) -> Answer {
    act(&state, caller, Request::Acknowledge { alarm }).await
}

/// A turn of a selector.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Turn {
    /// The position to turn it to.
    #[schema(max_length = 64, example = "away")]
    position: String,
    /// How long: `3d`, `22:30`; until it is turned again where it is left out.
    #[schema(max_length = 64, example = "3d")]
    term: Option<String>,
}

/// Turn a selector to a position, for a while or for good
#[utoipa::path(
    post, path = "/api/selectors/{selector}/select", tag = "by hand",
    params(("selector" = String, Path, description = "Its name", example = "house")), request_body = Turn,
    responses((status = 200, description = "It is turned", body = Done)),
)]
pub async fn select(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Name(selector): Name,
    Body(turn): Body<Turn>,
) -> Answer {
    let position = bounded("position", turn.position, TERM_CHARS)?;
    act(&state, caller, Request::Select { selector, position, term: term(turn.term)? }).await
}

/// Put a selector back to its first position
#[utoipa::path(
    post, path = "/api/selectors/{selector}/release", tag = "by hand",
    params(("selector" = String, Path, description = "Its name", example = "house")),
    responses((status = 200, description = "It is back", body = Done)),
)]
pub async fn return_selector(Extracted(state): Extracted<State>, caller: Caller, Name(selector): Name) -> Answer {
    let position = crate::house::RELEASE.to_owned();
    act(&state, caller, Request::Select { selector, position, term: None }).await
}

/// A setting of a setpoint.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Setting {
    /// The value in its unit.
    #[schema(example = 29.5)]
    value: f64,
    /// How long: `2h`, `22:30`; until the file's value changes where it is left out.
    #[schema(max_length = 64, example = "2h")]
    term: Option<String>,
}

/// Set a setpoint within its range, for a while or until the file changes
#[utoipa::path(
    post, path = "/api/setpoints/{setpoint}/set", tag = "by hand",
    params(("setpoint" = String, Path, description = "Its name", example = "warm")), request_body = Setting,
    responses((status = 200, description = "It is set", body = Done)),
)]
pub async fn set(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Name(setpoint): Name,
    Body(setting): Body<Setting>,
) -> Answer {
    let value = setting.value.to_string();
    act(&state, caller, Request::Set { setpoint, value, term: term(setting.term)? }).await
}

/// Put a setpoint back to the file's value
#[utoipa::path(
    post, path = "/api/setpoints/{setpoint}/release", tag = "by hand",
    params(("setpoint" = String, Path, description = "Its name", example = "warm")),
    responses((status = 200, description = "It is back", body = Done)),
)]
pub async fn return_setpoint(Extracted(state): Extracted<State>, caller: Caller, Name(setpoint): Name) -> Answer {
    let value = crate::house::RELEASE.to_owned();
    act(&state, caller, Request::Set { setpoint, value, term: None }).await
}

/// Run the house as it is now, also a change that waits for a person
///
/// A change waits that takes a load away or moves it to another relay, empties the house, or would let a latched safety
/// trip go.
#[utoipa::path(
    post, path = "/api/house/apply", tag = "house",
    responses((status = 200, description = "It runs", body = Done)),
)]
pub async fn apply(Extracted(state): Extracted<State>, caller: Caller) -> Answer {
    act(&state, caller, Request::Apply { preview: false }).await
}
