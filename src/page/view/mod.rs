//! The page for people: HTML made here, on a copy of the engine, with a style and a few lines of script out of the binary. It
//! never changes anything but through the same requests as the command line, and holds nothing of the house.

mod act;
mod curve;
mod day;
mod frame;
mod gather;
mod ground;
mod hand;
mod history;
mod house;
mod inputs;
mod load;
mod loads;
mod notice;
mod sensors;
mod settings;
mod symbol;
mod timing;

use axum::Extension;
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use maud::{DOCTYPE, Markup, html};
use serde::Deserialize;
use serde_json::Value;

use super::{Caller, Problem, State as Server};
use crate::daemon::protocol::{HistoryBy, Request, Response as Answer, ResponseOutcome};
use crate::house::{Drive, LoadId};
use crate::syntax::capital;
use frame::{Frame, Place, page};
use gather::{Shown, Wants, gather};
use notice::Notices;

/// So many rows of the journal are shown of one load, and of all.
const ROWS: (u32, u32) = (30, 200);

/// All pages, what they are made of, and what their forms lead to.
pub fn router() -> Router<Server> {
    Router::new()
        .route("/", get(loads_page))
        .route("/load/{name}", get(load_page))
        .route("/load/{name}/hand", post(act::hand))
        .route("/load/{name}/service", post(act::service))
        .route("/load/{name}/reset", post(act::reset))
        .route("/alarm", post(act::acknowledge))
        .route("/sensors", get(sensors_page))
        .route("/settings", get(settings_page))
        .route("/selector/{name}", post(act::select))
        .route("/setpoint/{name}", post(act::set))
        .route("/inputs", get(inputs_page))
        .route("/history", get(history_page))
        .route("/house", get(house_page))
        .route("/house/waiting", get(waiting_page))
        .route("/house/apply", post(act::apply))
        .route("/assets/page.css", get(|| asset("text/css; charset=utf-8", include_str!("page.css"))))
        .route("/assets/live.js", get(|| asset("text/javascript; charset=utf-8", include_str!("live.js"))))
        .route("/assets/icon.svg", get(|| asset("image/svg+xml", include_str!("icon.svg"))))
        .layer(Extension(Notices::default()))
}

async fn asset(kind: &'static str, text: &'static str) -> impl IntoResponse {
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-cache")], text)
}

/// The number of what is to be said at the top; what is no number of anything says nothing.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Said {
    said: String,
}

impl Said {
    fn notice(&self, notices: &Notices) -> Option<notice::Notice> {
        self.said.parse().ok().and_then(|number| notices.get(number))
    }
}

const PLAIN: Wants = Wants { timing: false, curves: false };

/// What every handler of a page has: the server, what was said last, and who asks.
type Ways = (State<Server>, Extension<Notices>, Query<Said>, Caller);

/// A page of the whole house.
async fn whole(
    (State(server), Extension(notices), Query(said), _): &Ways,
    here: Place,
    (title, fresh): (&str, Option<&str>),
    wants: Wants,
    main: impl FnOnce(&Shown) -> Markup,
) -> Response {
    match gather(server, wants).await {
        Ok(shown) => {
            let notice = said.notice(notices);
            let main = main(&shown);
            page(&Frame { title, here, fresh, notice }, &shown, &main).into_response()
        }
        Err(problem) => no_answer(&problem),
    }
}

async fn loads_page(ways: Ways) -> Response {
    let wants = Wants { timing: true, curves: false };
    whole(&ways, Place::Loads, ("Loads", Some("/")), wants, loads::main).await
}

async fn sensors_page(ways: Ways) -> Response {
    let wants = Wants { timing: false, curves: true };
    whole(&ways, Place::Sensors, ("Sensors", Some("/sensors")), wants, sensors::main).await
}

async fn settings_page(ways: Ways) -> Response {
    whole(&ways, Place::Settings, ("Selectors and setpoints", Some("/settings")), PLAIN, settings::main).await
}

async fn inputs_page(ways: Ways) -> Response {
    whole(&ways, Place::Inputs, ("Inputs", Some("/inputs")), PLAIN, inputs::main).await
}

async fn house_page(ways: Ways) -> Response {
    whole(&ways, Place::House, ("House and rules", Some("/house")), PLAIN, house::main).await
}

async fn waiting_page(ways: Ways) -> Response {
    let request = Request::Apply { preview: true };
    let preview = match ask(&ways, request).await {
        Ok(preview) => preview,
        Err(problem) => return no_answer(&problem),
    };
    // Reading the house again at every change of it would be too much.
    whole(&ways, Place::House, ("What a change would do", None), PLAIN, |_| house::waiting(&preview)).await
}

async fn ask((State(server), .., caller): &Ways, request: Request) -> Result<Answer, Problem> {
    server.ask(request, caller.clone().on_page()).await
}

async fn load_page(Path(name): Path<String>, ways: Ways) -> Response {
    let wants = Wants { timing: true, curves: false };
    let shown = match gather(&ways.0, wants).await {
        Ok(shown) => shown,
        Err(problem) => return no_answer(&problem),
    };
    let id: Option<LoadId> = shown.house().load_named(&name);
    let Some(id) = id else {
        let main = html! { p { "The house has no load of that name." } p { a href="/" { "All loads" } } };
        let frame = Frame { title: "No such load", here: Place::Loads, fresh: None, notice: None };
        return (StatusCode::NOT_FOUND, page(&frame, &shown, &main)).into_response();
    };
    let told = told(&ways, &name, shown.house().load(id).drive).await.ok();
    let notice = ways.2.notice(&ways.1);
    let (title, fresh) = (capital(&shown.house().load(id).label), format!("/load/{name}"));
    let main = load::main(&shown, id, told.as_ref());
    page(&Frame { title: &title, here: Place::Loads, fresh: Some(&fresh), notice }, &shown, &main).into_response()
}

/// What the store tells of a load.
async fn told(ways: &Ways, name: &str, drive: Drive) -> Result<load::Told, Problem> {
    let load = Some(name.to_owned());
    let journal = Request::Journal { load: load.clone(), since: None, until: None, limit: Some(ROWS.0) };
    let history = Request::History { load, by: HistoryBy::Load, since: Some("7d".to_owned()), until: None };
    let rows = journal_rows(&read(ask(ways, journal).await?)?);
    let history = read(ask(ways, history).await?)?.data.unwrap_or_default();
    let mut counts = Vec::new();
    if let Some(week) = history["rows"].get(0) {
        let (hours, times) = match drive {
            Drive::Actuator(_) => ("time driven in 7 days", "runs"),
            Drive::Rotation(_) => ("time on of its members in 7 days", "switched on"),
            Drive::Relay(_) => ("time on in 7 days", "switched on"),
        };
        counts.push((hours.to_owned(), history::hours(&week["on_h"])));
        if !week["energy_kwh"].is_null() {
            counts.push(("energy".to_owned(), format!("{} kWh", history::number(&week["energy_kwh"], 2))));
        }
        counts.push((times.to_owned(), week["closings"].to_string()));
    }
    Ok(load::Told { rows, counts })
}

/// An answer with what was read for it.
fn read(response: Answer) -> Result<Answer, Problem> {
    if response.outcome == ResponseOutcome::Done { Ok(response) } else { Err(Problem::unavailable(response.text)) }
}

/// When and what, the latest first.
fn journal_rows(response: &Answer) -> Vec<(String, String)> {
    let rows = response.data.as_ref().and_then(|data| data["rows"].as_array()).map(Vec::as_slice).unwrap_or_default();
    let text = |row: &Value, name: &str| row[name].as_str().unwrap_or_default().to_owned();
    // `2026-11-25T14:02:07+00:00` is for machines; who stands before the page knows the year.
    let clock = |at: String| {
        let read = at.get(..19).and_then(|local| local.parse::<jiff::civil::DateTime>().ok());
        read.map_or(at, |local| local.strftime("%-d %b %H:%M:%S").to_string())
    };
    rows.iter().rev().map(|row| (clock(text(row, "at")), text(row, "text"))).collect()
}

async fn history_page(Query(question): Query<history::Question>, ways: Ways) -> Response {
    match found(&ways, &question).await {
        Ok(found) => {
            let main = |shown: &Shown| history::main(shown, &question, &found);
            whole(&ways, Place::History, ("History", None), PLAIN, main).await
        }
        Err(problem) => no_answer(&problem),
    }
}

async fn found(ways: &Ways, question: &history::Question) -> Result<history::Found, Problem> {
    let some = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
    let (load, until) = (some(&question.load), some(&question.until));
    let since = some(&question.since).or_else(|| Some("7d".to_owned()));
    let mut found = history::Found::default();
    for by in [HistoryBy::Load, HistoryBy::Day, HistoryBy::Reason] {
        let request = Request::History { load: load.clone(), by, since: since.clone(), until: until.clone() };
        let response = ask(ways, request).await?;
        if response.outcome != ResponseOutcome::Done {
            found.refused = Some(response.text);
            return Ok(found);
        }
        let rows = response.data.and_then(|mut data| match data["rows"].take() {
            Value::Array(rows) => Some(rows),
            _ => None,
        });
        *match by {
            HistoryBy::Load => &mut found.by_load,
            HistoryBy::Day => &mut found.by_day,
            HistoryBy::Reason => &mut found.by_reason,
        } = rows.unwrap_or_default();
    }
    let request = Request::Journal { load, since, until, limit: Some(ROWS.1) };
    found.journal = journal_rows(&read(ask(ways, request).await?)?);
    Ok(found)
}

/// The loop does not answer: say so, and come back by itself.
fn no_answer(problem: &Problem) -> Response {
    let main = html! {
        p { (problem.detail()) }
        p { "The daemon does not answer just now. The boards go on with their orders until their leases run out." }
        p { a href="/" { "Try again" } }
    };
    (StatusCode::SERVICE_UNAVAILABLE, [(header::RETRY_AFTER, "5")], bare("No answer", &main)).into_response()
}

/// An address that a person asked for is no text.
pub fn no_address() -> Response {
    let main = html! {
        p { "This address cannot be read: what stands in it behind a " code { "%" } " is no text in UTF-8." }
        p { a href="/" { "All loads" } }
    };
    (StatusCode::BAD_REQUEST, bare("No such address", &main)).into_response()
}

/// Nothing is at a path that a person asked for.
pub fn nothing_there(path: &str) -> Response {
    let main = html! {
        p { "There is nothing at " code { (path) } "." }
        p { a href="/" { "All loads" } }
    };
    (StatusCode::NOT_FOUND, bare("Nothing here", &main)).into_response()
}

/// A page that shows no house.
pub fn bare(title: &str, main: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            (frame::head(title))
            body {
                header { p.name { "Standfast" } }
                main #main {
                    h1 { (title) }
                    (main)
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_without_what_was_asked_for_is_none() {
        assert!(read(Answer::found("2 rows", serde_json::json!({ "rows": [] }))).is_ok());
        for response in [Answer::failed("the disk is gone"), Answer::refused("there is no such load")] {
            let problem = read(response.clone()).expect_err("nothing was read");
            assert_eq!(problem.detail(), response.text);
        }
    }
}
