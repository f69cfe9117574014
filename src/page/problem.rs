//! Errors as RFC 9457 problem details. They never tell more than whoever asked may know.

use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;

/// What went wrong with a request.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// A URI for the kind of problem; always `about:blank`: the status says the kind.
    #[serde(rename = "type")]
    kind: &'static str,
    /// The status in words.
    title: &'static str,
    /// The status.
    status: u16,
    /// What went wrong here, and what to do instead.
    detail: String,
}

impl Problem {
    /// A problem of a kind, with what went wrong in words.
    pub fn new(status: StatusCode, detail: impl Into<String>) -> Problem {
        let title = status.canonical_reason().unwrap_or("Error");
        Problem { kind: "about:blank", title, status: status.as_u16(), detail: detail.into() }
    }

    /// 400: the request makes no sense.
    pub fn bad_request(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::BAD_REQUEST, detail)
    }

    /// 403: it may not be done from there.
    pub fn forbidden(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::FORBIDDEN, detail)
    }

    /// 404: there is no such thing.
    pub fn not_found(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::NOT_FOUND, detail)
    }

    /// 500: a fault of this program.
    pub fn internal(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::INTERNAL_SERVER_ERROR, detail)
    }

    /// 503: not now.
    pub fn unavailable(detail: impl Into<String>) -> Problem {
        Problem::new(StatusCode::SERVICE_UNAVAILABLE, detail)
    }

    /// The status.
    pub fn status(&self) -> StatusCode {
        StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    /// What went wrong, in words.
    pub fn detail(&self) -> &str {
        &self.detail
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut response = (self.status(), Json(&self)).into_response();
        response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        response
    }
}
