//! The API: JSON over HTTP below `/api`, for programs and for the page's own script. It asks what the command socket can ask,
//! and never decides anything.
//!
//! A route is a handler with `#[utoipa::path]` in [`read`], [`act`] or [`live`] and its name in [`routes()`]: the OpenAPI
//! document at `/api/openapi.json` is made of the same list.

pub mod act;
pub mod document;
pub mod extract;
pub mod live;
pub mod read;
pub mod shape;

use axum::Router;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::State;

/// All routes with what is said of them.
fn routes() -> OpenApiRouter<State> {
    OpenApiRouter::new()
        .routes(routes!(document::openapi))
        .routes(routes!(read::status))
        .routes(routes!(read::loads))
        .routes(routes!(read::load))
        .routes(routes!(read::why))
        .routes(routes!(read::sensors))
        .routes(routes!(read::boards))
        .routes(routes!(read::alarms))
        .routes(routes!(read::selectors))
        .routes(routes!(read::setpoints))
        .routes(routes!(read::journal))
        .routes(routes!(read::history))
        .routes(routes!(read::readings))
        .routes(routes!(read::seen))
        .routes(routes!(read::house))
        .routes(routes!(read::change))
        .routes(routes!(live::live))
        .routes(routes!(act::hold))
        .routes(routes!(act::release))
        .routes(routes!(act::withdraw))
        .routes(routes!(act::restore))
        .routes(routes!(act::reset))
        .routes(routes!(act::acknowledge))
        .routes(routes!(act::select))
        .routes(routes!(act::return_selector))
        .routes(routes!(act::set))
        .routes(routes!(act::return_setpoint))
        .routes(routes!(act::apply))
}

/// The routes of the API.
pub fn router() -> Router<State> {
    routes().into()
}
