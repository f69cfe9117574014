//! Pages for people. They never decide anything, and work without scripts but for live updates.
//!
//! This is where pages are mounted: [`router`] is merged with the API behind all guards, so a handler here finds a known
//! host, a person who may be here, and, for a change, a form that comes from this server's own page. A handler takes
//! `axum::extract::State<crate::page::State>`:
//!
//! - `state.glance()` for a copy of the engine to draw from, `state.ask(request, caller.on_page())` for all that the command
//!   socket can ask, with [`crate::page::Caller`] as the extractor of who asks;
//! - `state.watch()` for changes, which the API serves as a stream at `/api/live`.
//!
//! Scripts and styles are served by paths of their own: the policy of the page allows nothing inline, no `style` attribute
//! either (attributes of SVG such as `fill` and `x` are none). Errors are [`crate::page::Problem`]s.

use axum::Router;
use axum::routing::get;

use super::State;

/// The routes of the pages.
pub fn router() -> Router<State> {
    Router::new().route("/", get(front))
}

async fn front() -> &'static str {
    "Standfast\n"
}
