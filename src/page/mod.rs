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
use axum::extract::{DefaultBodyLimit, Request};
use axum::http::{HeaderMap, Uri, header};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use percent_encoding::percent_decode_str;

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
        .layer(from_fn(readable))
        .layer(DefaultBodyLimit::max(BODY_BYTES))
        .layer(from_fn_with_state(state.clone(), login::let_in))
        .layer(from_fn_with_state(state.clone(), guard::same_origin))
        .layer(from_fn_with_state(state.clone(), guard::known_host))
        .layer(from_fn(guard::in_time))
        .layer(from_fn(guard::headers))
        .with_state(state)
}

/// Refuses a path that is no text once its percent-encoding is undone: no route could say what it asks for.
async fn readable(request: Request, next: Next) -> Response {
    let path = request.uri().path();
    if percent_decode_str(path).decode_utf8().is_ok() {
        return next.run(request).await;
    }
    if is_for_people(path, request.headers()) {
        return view::no_address();
    }
    Problem::bad_request("the path is not UTF-8").into_response()
}

/// Whether a person's browser is to be answered with a page.
fn is_for_people(path: &str, headers: &HeaderMap) -> bool {
    let accepts = headers.get(header::ACCEPT).and_then(|accepts| accepts.to_str().ok()).unwrap_or_default();
    accepts.contains("text/html") && !path.starts_with("/api/")
}

async fn nothing_there(uri: Uri, headers: HeaderMap) -> Response {
    if is_for_people(uri.path(), &headers) {
        return view::nothing_there(uri.path());
    }
    Problem::not_found(format!("there is nothing at {}", uri.path())).into_response()
}

async fn not_so(uri: Uri) -> Response {
    Problem::new(axum::http::StatusCode::METHOD_NOT_ALLOWED, format!("{} does not answer to this method", uri.path()))
        .into_response()
}
