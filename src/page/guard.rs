//! What every request passes before it reaches a handler: the Host header, the origin of changes, time, and the headers that
//! tell browsers what a page may do. It never looks into a body.

use std::net::{Ipv4Addr, Ipv6Addr};
use std::time::Duration;

use axum::extract::{Request, State as Extracted};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tokio::time::timeout;

use super::{Problem, State};

/// A request is answered within this, its body read included; what it asks of the loop takes a minute at most.
const ANSWER: Duration = Duration::from_secs(100);

/// What a page may do: nothing but use this server's own scripts, styles, pictures and answers, without anything inline.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; \
                      connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Headers of every answer. `Referrer-Policy: no-referrer` would make browsers send `Origin: null` with forms.
const HEADERS: [(HeaderName, &str); 6] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
];

/// Puts the headers on every answer. What says nothing about keeping is not kept.
pub async fn headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in HEADERS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Bounds the time of a request.
pub async fn in_time(request: Request, next: Next) -> Response {
    match timeout(ANSWER, next.run(request)).await {
        Ok(response) => response,
        Err(_) => Problem::new(StatusCode::REQUEST_TIMEOUT, "the request took too long").into_response(),
    }
}

/// Refuses names that are not this server's: a foreign name that leads here is how a foreign page would get in.
pub async fn known_host(Extracted(state): Extracted<State>, request: Request, next: Next) -> Response {
    let mut hosts = request.headers().get_all(header::HOST).iter();
    let (Some(host), None) = (hosts.next(), hosts.next()) else {
        return Problem::bad_request("a request has one Host header").into_response();
    };
    let target = request.uri().authority().map(|authority| authority.as_str());
    let host = host.to_str().ok();
    let known = |authority: &str| is_known(authority, state.names());
    if host.is_some_and(known) && target.is_none_or(known) {
        return next.run(request).await;
    }
    let shown: String = host.unwrap_or_default().chars().filter(|c| c.is_ascii_graphic()).take(80).collect();
    let why =
        format!("this server is not known as \"{shown}\"; add the name to `names` under [page] in standfast.toml");
    Problem::new(StatusCode::MISDIRECTED_REQUEST, why).into_response()
}

/// Refuses changes that another site's page asks for. Who sends neither header is no browser.
pub async fn same_origin(Extracted(state): Extracted<State>, request: Request, next: Next) -> Response {
    if is_safe(request.method()) || comes_from_here(request.headers(), state.is_secure()) {
        return next.run(request).await;
    }
    Problem::forbidden("a page of another site may not change anything here").into_response()
}

fn is_safe(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS)
}

/// Whether the headers of a change say that a page of this server asks for it, or nothing at all.
fn comes_from_here(headers: &HeaderMap, secure: bool) -> bool {
    let all = |name: HeaderName| headers.get_all(name).into_iter().map(|value| value.to_str().unwrap_or("?"));
    let site = HeaderName::from_static("sec-fetch-site");
    // `none` is a person's own doing, such as an address typed.
    if !all(site).all(|site| matches!(site, "same-origin" | "none")) {
        return false;
    }
    let host = all(header::HOST).next().unwrap_or_default();
    all(header::ORIGIN).all(|origin| match origin.split_once("://") {
        Some(("https", authority)) => authority.eq_ignore_ascii_case(host),
        // Whoever serves TLS before this server is not known here.
        Some(("http", authority)) => !secure && authority.eq_ignore_ascii_case(host),
        _ => false,
    })
}

/// Whether a host, with or without a port, is this server: an address, localhost, or one of its names.
fn is_known(authority: &str, names: &[String]) -> bool {
    if let Some(rest) = authority.strip_prefix('[') {
        let Some((address, port)) = rest.split_once(']') else { return false };
        return address.parse::<Ipv6Addr>().is_ok() && (port.is_empty() || port.strip_prefix(':').is_some_and(is_port));
    }
    let (host, port) = match authority.split_once(':') {
        Some((host, port)) => (host, Some(port)),
        None => (authority, None),
    };
    if !port.is_none_or(is_port) {
        return false;
    }
    // A name may be written with the dot of the root.
    let host = host.strip_suffix('.').unwrap_or(host).to_ascii_lowercase();
    host.parse::<Ipv4Addr>().is_ok() || host == "localhost" || names.contains(&host)
}

fn is_port(text: &str) -> bool {
    text.len() <= 5 && text.bytes().all(|byte| byte.is_ascii_digit()) && text.parse::<u16>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_localhost_and_its_names_are_known() {
        let names = ["house.lan".to_owned()];
        for host in [
            "127.0.0.1",
            "127.0.0.1:8420",
            "192.168.1.9:8420",
            "[::1]",
            "[fe80::1]:8420",
            "localhost",
            "LOCALHOST:1",
            "house.lan",
            "House.lan.:8420",
        ] {
            assert!(is_known(host, &names), "{host}");
        }
        for host in [
            "",
            ":8420",
            "elsewhere.example",
            "house.lan.example",
            "127.0.0.1.example",
            "xhouse.lan",
            "house.lan:x",
            "house.lan:99999",
            "[::1",
            "[::1]x",
            "[house.lan]",
            "user@house.lan",
            "localhost:1:2",
            "127.1",
            "house.lan..",
        ] {
            assert!(!is_known(host, &names), "{host}");
        }
    }

    /// Whether a change with these headers is taken, over TLS or not.
    fn check(headers: &[(&'static str, &str)], secure: bool, expected: bool) {
        let mut map = HeaderMap::new();
        map.insert(header::HOST, HeaderValue::from_static("house.lan:8420"));
        for (name, value) in headers {
            map.append(HeaderName::from_static(name), HeaderValue::from_str(value).unwrap());
        }
        assert_eq!(comes_from_here(&map, secure), expected, "{headers:?} secure {secure}");
    }

    #[test]
    fn only_this_servers_own_pages_and_programs_change_anything() {
        check(&[], false, true);
        check(&[("origin", "http://house.lan:8420")], false, true);
        check(&[("origin", "http://house.lan:8420")], true, false);
        check(&[("origin", "https://HOUSE.lan:8420"), ("sec-fetch-site", "same-origin")], true, true);
        check(&[("sec-fetch-site", "none")], false, true);
        for site in ["cross-site", "same-site", "anything"] {
            check(&[("origin", "http://house.lan:8420"), ("sec-fetch-site", site)], false, false);
            check(&[("sec-fetch-site", site)], false, false);
        }
        for origin in
            ["null", "", "http://house.lan", "http://house.lan:8421", "http://elsewhere.example", "house.lan:8420"]
        {
            check(&[("origin", origin)], false, false);
        }
        check(&[("origin", "http://house.lan:8420"), ("origin", "http://elsewhere.example")], false, false);
    }
}
