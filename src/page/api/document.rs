//! The OpenAPI 3.1 document, made of the routes themselves. It never says anything that the routes do not do.

use std::sync::OnceLock;

use axum::http::header::CONTENT_TYPE;
use axum::response::IntoResponse;
use serde_json::{Value, json};
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;

use super::shape::Problem;
use crate::page::session::COOKIES;

/// Answers that any route may give beside its own: what the guards refuse, and what goes wrong.
const COMMON: [(&str, &str); 7] = [
    ("400", "The request is not understood"),
    ("401", "A password is wanted"),
    ("408", "The request took too long"),
    ("413", "The body is too large"),
    ("421", "This server is not known under that name"),
    ("429", "Too many attempts with a wrong password"),
    ("503", "The daemon is stopping, is too busy, or cannot read its store"),
];
/// Answers that a change may get besides.
const OF_CHANGES: [(&str, &str); 3] = [
    ("403", "A page of another site may not change anything here"),
    ("409", "It is understood and cannot be done now; the detail says why"),
    ("415", "The body is no JSON"),
];

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Standfast",
        description = "What the loads of a house are doing and why, and everything that a person may do about it by hand. \
                       Times are said as people say them: `2h`, `22:30`, `sunset+30m`; answers say what was understood."
    ),
    components(schemas(Problem))
)]
struct Head;

/// This document
///
/// Generated from the code that answers.
#[utoipa::path(get, path = "/api/openapi.json", tag = "about", responses((status = 200, description = "OpenAPI 3.1", body = Object)))]
pub async fn openapi() -> impl IntoResponse {
    ([(CONTENT_TYPE, "application/json")], text())
}

/// The document as text, made once.
fn text() -> &'static str {
    static TEXT: OnceLock<String> = OnceLock::new();
    TEXT.get_or_init(|| document().to_string())
}

/// The document.
pub fn document() -> Value {
    let (_, api) = OpenApiRouter::with_openapi(Head::openapi()).merge(super::routes()).split_for_parts();
    let mut document = serde_json::to_value(api).unwrap_or_default();
    document["info"]["version"] = json!(env!("CARGO_PKG_VERSION"));
    // Nothing is wanted where the page has no password.
    document["security"] = json!([{}, { "password": [] }, { "session": [] }]);
    document["components"]["securitySchemes"] = json!({
        "password": { "type": "http", "scheme": "basic", "description": "Any name, which is recorded, and the page's password." },
        "session": { "type": "apiKey", "in": "cookie", "name": COOKIES[0], "description": "The cookie of a log-in at /login." },
    });
    if let Some(paths) = document["paths"].as_object_mut() {
        for (path, item) in paths {
            for (method, operation) in item.as_object_mut().into_iter().flatten() {
                complete(path, method, operation);
            }
        }
    }
    document
}

fn complete(path: &str, method: &str, operation: &mut Value) {
    let of_changes = if method == "get" { &[][..] } else { &OF_CHANGES[..] };
    let named = [("404", "There is no such thing")];
    let of_names = if path.contains('{') || operation["parameters"].is_array() { &named[..] } else { &[][..] };
    for (status, description) in COMMON.iter().chain(of_changes).chain(of_names) {
        let problem = json!({ "schema": { "$ref": "#/components/schemas/Problem" } });
        operation["responses"][*status] =
            json!({ "description": description, "content": { "application/problem+json": problem } });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_route_has_its_entry() {
        let document = document();
        assert!(
            document["openapi"].as_str().is_some_and(|version| version.starts_with("3.1")),
            "{}",
            document["openapi"]
        );
        let listed = include_str!("mod.rs").matches(".routes(routes!(").count();
        let paths = document["paths"].as_object().expect("paths");
        let operations: Vec<&Value> =
            paths.values().flat_map(|item| item.as_object().expect("an item").values()).collect();
        assert_eq!(operations.len(), listed);
        // There is no other way into the router than that list.
        for source in [include_str!("mod.rs"), include_str!("read.rs"), include_str!("act.rs"), include_str!("live.rs")]
        {
            assert!(!source.contains(concat!(".rou", "te(")) && !source.contains("nest("), "a route beside the list");
        }
        for operation in operations {
            assert!(operation["summary"].is_string() && operation["operationId"].is_string(), "{operation}");
            let success = &operation["responses"]["200"]["content"];
            assert!(success.as_object().is_some_and(|content| !content.is_empty()), "{operation}");
        }
    }

    #[test]
    fn what_it_refers_to_is_there() {
        let document = document();
        let mut left = vec![&document];
        while let Some(value) = left.pop() {
            match value {
                Value::Object(object) => {
                    if let Some(Value::String(reference)) = object.get("$ref") {
                        let pointer = reference.trim_start_matches('#');
                        assert!(document.pointer(pointer).is_some(), "{reference}");
                    }
                    left.extend(object.values());
                }
                Value::Array(items) => left.extend(items),
                _ => {}
            }
        }
    }
}
