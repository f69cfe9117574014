//! How everything is, and what was: routes that change nothing. They never look at the engine or the store themselves.

use axum::Json;
use axum::extract::State as Extracted;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

use super::extract::{Asked, Name};
use super::shape;
use crate::daemon;
use crate::daemon::change::{HOUSE_ALARM, WAITS_ALARM};
use crate::daemon::glance::Glance;
use crate::daemon::protocol::{HistoryBy, Request, Response};
use crate::daemon::status::Standing;
use crate::page::state::done;
use crate::page::{Caller, Problem, State};
use crate::store::Cursor;

/// The outcome of a route.
type Answer<T> = Result<Json<T>, Problem>;

/// A part of what the loop answered, in its shape.
fn shaped<T: DeserializeOwned>(value: Value) -> Result<T, Problem> {
    serde_json::from_value(value).map_err(|error| {
        tracing::error!("the API cannot shape an answer: {error}");
        Problem::internal("an answer has another shape than promised")
    })
}

async fn ask(state: &State, caller: Caller, request: Request) -> Result<Response, Problem> {
    done(state.ask(request, caller.over_api()).await?)
}

async fn ask_for<T: DeserializeOwned>(state: &State, caller: Caller, request: Request) -> Answer<T> {
    let response = ask(state, caller, request).await?;
    shaped(response.status.or(response.data).unwrap_or_default()).map(Json)
}

/// How everything is
#[utoipa::path(get, path = "/api/status", tag = "now", responses((status = 200, description = "How everything is", body = shape::Status)))]
pub async fn status(Extracted(state): Extracted<State>, caller: Caller) -> Answer<shape::Status> {
    ask_for(&state, caller, Request::Status).await
}

/// How everything is by a copy of the engine, which spares the loop the words and everybody a look at git.
async fn whole(state: &State) -> Result<shape::Status, Problem> {
    let glance = state.glance().await?;
    let Glance { engine, revision, linked, stored, .. } = &glance;
    let standing = Standing { engine, revision, linked: *linked, stored: *stored };
    shaped(daemon::status::status(&standing).status.unwrap_or_default())
}

/// What loads do and why
#[utoipa::path(get, path = "/api/loads", tag = "now", responses((status = 200, description = "All loads and actuators", body = Vec<shape::Load>)))]
pub async fn loads(Extracted(state): Extracted<State>) -> Answer<Vec<shape::Load>> {
    Ok(Json(whole(&state).await?.loads))
}

/// What a load does and why
#[utoipa::path(
    get, path = "/api/loads/{load}", tag = "now",
    params(("load" = String, Path, description = "Its name", example = "fan")),
    responses((status = 200, description = "The load", body = shape::Load)),
)]
pub async fn load(Extracted(state): Extracted<State>, Name(name): Name) -> Answer<shape::Load> {
    let found = whole(&state).await?.loads.into_iter().find(|load| load.load == name);
    found.map(Json).ok_or_else(|| Problem::not_found(format!("there is no load \"{name}\"; /api/loads lists them")))
}

/// When.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WhyQuery {
    /// When, such as `2h` (ago), `22:30`, `sunset`, `2026-05-12 22:30`; now where it is left out.
    #[param(example = "0s")]
    at: Option<String>,
}

/// Everything that speaks to a load, now or at a time behind
#[utoipa::path(
    get, path = "/api/loads/{load}/why", tag = "now",
    params(("load" = String, Path, description = "Its name", example = "fan"), WhyQuery),
    responses(
        (status = 200, description = "In words and as data", body = shape::Why),
        (status = 409, description = "The journal does not reach back so far", body = shape::Problem, content_type = "application/problem+json"),
    ),
)]
pub async fn why(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Name(load): Name,
    Asked(WhyQuery { at }): Asked<WhyQuery>,
) -> Answer<shape::Why> {
    let is_now = at.is_none();
    let Response { text, data, .. } = ask(&state, caller, Request::Why { load, at }).await?;
    if is_now {
        return Ok(Json(shape::Why { text, reasons: data, at: None, rows: None }));
    }
    let mut data = data.unwrap_or_default();
    let (at, rows) = (shaped(data["at"].take())?, shaped(data["rows"].take())?);
    Ok(Json(shape::Why { text, reasons: None, at, rows }))
}

/// What sensors say
#[utoipa::path(get, path = "/api/sensors", tag = "now", responses((status = 200, description = "All sensors", body = Vec<shape::Sensor>)))]
pub async fn sensors(Extracted(state): Extracted<State>) -> Answer<Vec<shape::Sensor>> {
    Ok(Json(whole(&state).await?.sensors))
}

/// Whether boards are heard
#[utoipa::path(get, path = "/api/boards", tag = "now", responses((status = 200, description = "All boards", body = Vec<shape::Board>)))]
pub async fn boards(Extracted(state): Extracted<State>) -> Answer<Vec<shape::Board>> {
    Ok(Json(whole(&state).await?.boards))
}

/// The alarms that stand
#[utoipa::path(get, path = "/api/alarms", tag = "now", responses((status = 200, description = "All alarms", body = Vec<shape::Alarm>)))]
pub async fn alarms(Extracted(state): Extracted<State>) -> Answer<Vec<shape::Alarm>> {
    Ok(Json(whole(&state).await?.alarms))
}

/// How selectors stand
#[utoipa::path(get, path = "/api/selectors", tag = "now", responses((status = 200, description = "All selectors", body = Vec<shape::Selector>)))]
pub async fn selectors(Extracted(state): Extracted<State>) -> Answer<Vec<shape::Selector>> {
    Ok(Json(whole(&state).await?.selectors))
}

/// What setpoints are
#[utoipa::path(get, path = "/api/setpoints", tag = "now", responses((status = 200, description = "All setpoints", body = Vec<shape::Setpoint>)))]
pub async fn setpoints(Extracted(state): Extracted<State>) -> Answer<Vec<shape::Setpoint>> {
    Ok(Json(whole(&state).await?.setpoints))
}

/// Which rows.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct JournalParams {
    /// Only of this load.
    #[param(example = "fan")]
    load: Option<String>,
    /// From when on, such as `2h` (ago), `22:30`, `sunset`, `2026-05-12`.
    #[param(example = "2h")]
    since: Option<String>,
    /// Until when; now where it is left out.
    #[param(example = "0s")]
    until: Option<String>,
    /// So many rows at most, the latest.
    #[param(minimum = 1, maximum = 20000, example = 100)]
    limit: Option<u32>,
}

/// What happened and why
#[utoipa::path(get, path = "/api/journal", tag = "past", params(JournalParams), responses((status = 200, description = "Rows of the journal", body = shape::Journal)))]
pub async fn journal(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Asked(JournalParams { load, since, until, limit }): Asked<JournalParams>,
) -> Answer<shape::Journal> {
    if limit.is_some_and(|limit| !(1..=crate::store::JOURNAL_ROWS).contains(&limit)) {
        return Err(Problem::bad_request(format!("`limit` is from 1 to {}", crate::store::JOURNAL_ROWS)));
    }
    ask_for(&state, caller, Request::Journal { load, since, until, limit }).await
}

/// What each row of a history is about.
#[derive(Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum By {
    /// A load, over all the time.
    Load,
    /// A load on a day of the site.
    Day,
    /// A load for a reason.
    Reason,
}

/// Which rows.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct HistoryParams {
    /// Only of this load.
    #[param(example = "fan")]
    load: Option<String>,
    /// What each row is about; a load over all the time where it is left out.
    #[param(inline, example = "day")]
    by: Option<By>,
    /// From when on; a week ago where it is left out.
    #[param(example = "2h")]
    since: Option<String>,
    /// Until when; now where it is left out.
    #[param(example = "0s")]
    until: Option<String>,
}

/// For how long loads were on, what that took, how often they were switched
#[utoipa::path(get, path = "/api/history", tag = "past", params(HistoryParams), responses((status = 200, description = "Rows of the history", body = shape::History)))]
pub async fn history(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Asked(HistoryParams { load, by, since, until }): Asked<HistoryParams>,
) -> Answer<shape::History> {
    let by = match by {
        None | Some(By::Load) => HistoryBy::Load,
        Some(By::Day) => HistoryBy::Day,
        Some(By::Reason) => HistoryBy::Reason,
    };
    ask_for(&state, caller, Request::History { load, by, since, until }).await
}

/// Which readings.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReadingsParams {
    /// Only of this sensor.
    #[param(example = "sunroom-air")]
    sensor: Option<String>,
    /// From when on, such as `2h` (ago), `22:30`, `2026-05-12`.
    #[param(example = "2h")]
    since: Option<String>,
    /// Until when; now where it is left out.
    #[param(example = "0s")]
    until: Option<String>,
    /// The `next` of the page before.
    #[param(pattern = r"^-?[0-9]{1,18}\.[0-9]{1,18}$")]
    after: Option<String>,
}

/// What sensors said, a page at a time
#[utoipa::path(get, path = "/api/readings", tag = "past", params(ReadingsParams), responses((status = 200, description = "A page of readings", body = shape::Readings)))]
pub async fn readings(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Asked(ReadingsParams { sensor, since, until, after }): Asked<ReadingsParams>,
) -> Answer<shape::Readings> {
    let after = match after {
        Some(text) => {
            Some(cursor(&text).ok_or_else(|| Problem::bad_request("`after` is the `next` of a page before"))?)
        }
        None => None,
    };
    let response = ask(&state, caller, Request::Readings { sensor, since, until, after }).await?;
    let mut data = response.data.unwrap_or_default();
    let next: Option<Cursor> = shaped(data["next"].take())?;
    data["next"] = next.map(|next| format!("{}.{}", next.at_ms, next.sensor)).into();
    shaped(data).map(Json)
}

/// Where a page ended, as it was said.
fn cursor(text: &str) -> Option<Cursor> {
    let (at_ms, sensor) = text.split_once('.')?;
    Some(Cursor { at_ms: at_ms.parse().ok()?, sensor: sensor.parse().ok()? })
}

/// The greatest number that every reader of JSON keeps to the last digit; see RFC 8259, section 6.
const NUMBER_MAX: u64 = 9_007_199_254_740_991;

/// Since when.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct SeenParams {
    /// Only what was said after this number; all that is still known where it is left out.
    #[param(minimum = 0, maximum = 9_007_199_254_740_991_u64, example = 0)]
    after: Option<u64>,
}

/// What boards said lately, also what the house does not name
#[utoipa::path(get, path = "/api/seen", tag = "now", params(SeenParams), responses((status = 200, description = "What was said", body = shape::Seen)))]
pub async fn seen(
    Extracted(state): Extracted<State>,
    caller: Caller,
    Asked(SeenParams { after }): Asked<SeenParams>,
) -> Answer<shape::Seen> {
    if after.is_some_and(|after| after > NUMBER_MAX) {
        return Err(Problem::bad_request(format!("`after` is at most {NUMBER_MAX}")));
    }
    ask_for(&state, caller, Request::Seen { after: Some(after.unwrap_or_default()) }).await
}

/// The house that runs, and whether another version waits
#[utoipa::path(get, path = "/api/house", tag = "house", responses((status = 200, description = "The house", body = shape::House)))]
pub async fn house(Extracted(state): Extracted<State>) -> Answer<shape::House> {
    let shape::Status { revision, alarms, .. } = whole(&state).await?;
    let text = |id: &str| alarms.iter().find(|alarm| alarm.alarm == id).map(|alarm| alarm.text.clone());
    Ok(Json(shape::House { waits: text(WAITS_ALARM), faults: text(HOUSE_ALARM), revision }))
}

/// What running the house as it is now would change at once
///
/// Reads the house from disk or git; changes nothing.
#[utoipa::path(
    get, path = "/api/house/change", tag = "house",
    responses(
        (status = 200, description = "In words, several lines", body = shape::Done),
        (status = 409, description = "It has errors", body = shape::Problem, content_type = "application/problem+json"),
    ),
)]
pub async fn change(Extracted(state): Extracted<State>, caller: Caller) -> Answer<shape::Done> {
    let Response { text, .. } = ask(&state, caller, Request::Apply { preview: true }).await?;
    Ok(Json(shape::Done { text }))
}
