//! The page and its API: one HTTP server on the address of `[page] listen`. It never touches the engine: it asks the loop by
//! the same bounded way as the command socket, looks at copies of the engine, and is told of changes.
//!
//! Every request passes the guards of [`guard`] before it reaches [`view`], which draws pages for people, or the API.

pub mod api;
mod attempts;
pub mod guard;
pub mod login;
pub mod password;
mod patience;
mod places;
pub mod problem;
pub mod server;
pub mod session;
pub mod state;
pub mod tls;
pub mod view;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{HeaderMap, Uri, header};
use axum::middleware::{from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};

pub use problem::Problem;
pub use server::{Listening, PageError};
pub use state::{Caller, Ends, Manner, State};
pub use tls::TlsError;

/// The largest body of a request, in bytes.
const BODY_BYTES: usize = 16 * 1024;

/// All routes behind all guards, the outermost last.
pub fn router(state: State) -> Router {
    let routes = Router::new()
        .merge(view::router())
        .merge(api::router())
        .merge(login::router())
        .fallback(nothing_there)
        .method_not_allowed_fallback(not_so);
    routes
        .layer(DefaultBodyLimit::max(BODY_BYTES))
        .layer(from_fn_with_state(state.clone(), login::let_in))
        .layer(from_fn_with_state(state.clone(), guard::same_origin))
        .layer(from_fn_with_state(state.clone(), guard::known_host))
        .layer(from_fn(guard::in_time))
        .layer(from_fn(guard::headers))
        .with_state(state)
}

async fn nothing_there(uri: Uri, headers: HeaderMap) -> Response {
    let accepts = headers.get(header::ACCEPT).and_then(|accepts| accepts.to_str().ok()).unwrap_or_default();
    if accepts.contains("text/html") && !uri.path().starts_with("/api/") {
        return view::nothing_there(uri.path());
    }
    Problem::not_found(format!("there is nothing at {}", uri.path())).into_response()
}

async fn not_so(uri: Uri) -> Response {
    Problem::new(axum::http::StatusCode::METHOD_NOT_ALLOWED, format!("{} does not answer to this method", uri.path()))
        .into_response()
}
