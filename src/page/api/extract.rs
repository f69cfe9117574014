//! What is taken out of a request: a JSON body, a form, a query, a name in the path. It never lets a refusal out that is no
//! problem by RFC 9457.

use std::fmt;
use std::marker::PhantomData;

use axum::extract::rejection::{FormRejection, JsonRejection};
use axum::extract::{Form, FromRequest, FromRequestParts, Json, Path, Query, Request};
use axum::http::StatusCode;
use axum::http::request::Parts;
use serde::de::value::MapAccessDeserializer;
use serde::de::{Deserialize, DeserializeOwned, Deserializer, MapAccess, Visitor};

use crate::page::Problem;

/// A JSON body.
pub struct Body<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Body<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Body<T>, Problem> {
        match Json::from_request(request, state).await {
            Ok(Json(Object(body))) => Ok(Body(body)),
            Err(rejection) => Err(refused(&rejection)),
        }
    }
}

/// What is written as a JSON object and not as an array, in which the library would take fields by their order.
struct Object<T>(T);

impl<'de, T: DeserializeOwned> Deserialize<'de> for Object<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Object<T>, D::Error> {
        deserializer.deserialize_map(ObjectVisitor(PhantomData)).map(Object)
    }
}

struct ObjectVisitor<T>(PhantomData<T>);

impl<'de, T: DeserializeOwned> Visitor<'de> for ObjectVisitor<T> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON object")
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<T, A::Error> {
        T::deserialize(MapAccessDeserializer::new(map))
    }
}

fn refused(rejection: &JsonRejection) -> Problem {
    let status = status(rejection.status());
    let text = bare(rejection.body_text());
    match status {
        StatusCode::UNSUPPORTED_MEDIA_TYPE => Problem::new(status, "send JSON, with Content-Type: application/json"),
        StatusCode::PAYLOAD_TOO_LARGE => {
            Problem::new(status, format!("a body has at most {} bytes", crate::page::BODY_BYTES))
        }
        _ => Problem::new(status, format!("the body is not understood: {text}")),
    }
}

/// A form that was filled in.
pub struct Filled<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Filled<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Filled<T>, Problem> {
        let filled = Form::from_request(request, state).await;
        let refused = |rejection: FormRejection| {
            let text = bare(rejection.body_text());
            Problem::new(status(rejection.status()), format!("the form is not understood: {text}"))
        };
        filled.map(|Form(filled)| Filled(filled)).map_err(refused)
    }
}

/// A query.
pub struct Asked<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for Asked<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Asked<T>, Problem> {
        let refused = |why: String| Problem::bad_request(format!("the query is not understood: {why}"));
        let query = Query::from_request_parts(parts, state).await;
        query.map(|Query(asked)| Asked(asked)).map_err(|rejection| refused(bare(rejection.body_text())))
    }
}

/// The status of a refusal: whether what was sent has the wrong form or says the wrong things makes no difference to whoever
/// has to write it anew.
fn status(of_library: StatusCode) -> StatusCode {
    match of_library {
        StatusCode::UNPROCESSABLE_ENTITY => StatusCode::BAD_REQUEST,
        other => other,
    }
}

/// What is wrong, without what the library calls its own work: "Failed to deserialize query string: …".
fn bare(text: String) -> String {
    match text.split_once(": ") {
        Some((work, wrong)) if work.starts_with("Failed to ") => wrong.to_owned(),
        _ => text,
    }
}

/// A name in the path.
pub struct Name(pub String);

impl<S: Send + Sync> FromRequestParts<S> for Name {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Name, Problem> {
        let name = Path::from_request_parts(parts, state).await;
        name.map(|Path(name)| Name(name)).map_err(|_| Problem::bad_request("the path is not UTF-8"))
    }
}
