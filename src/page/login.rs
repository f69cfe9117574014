//! Who may be here, where the page has a password: a cookie from a log-in, or the password with each request. It never tells
//! whether a name is known, since any name will do.

use std::net::{IpAddr, SocketAddr};
use std::path::Path;

use axum::Router;
use axum::extract::{ConnectInfo, Form, Query, Request, State as Extracted};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, html};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::Deserialize;

use super::attempts::Attempts;
use super::password::{Password, Tried};
use super::server::share_of;
use super::session::{COOKIES, FILE, LASTS, Sessions};
use super::{Problem, State};
use crate::daemon::clock;
use crate::daemon::config::Secret;
use crate::daemon::words::one_line;

/// The longest name, in characters.
const NAME_CHARS: usize = 40;
/// What whoever has not logged in may see: the form and what it is drawn with.
const OPEN: [&str; 2] = ["/login", "/assets/"];

/// The name of whoever logged in; may be empty.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LoggedIn(pub String);

/// What stands before the page where it has a password.
pub struct Door {
    password: Password,
    sessions: Sessions,
    attempts: Attempts,
}

/// Why somebody is not let in.
enum Refused {
    /// Nothing was shown, or it is over.
    NotShown,
    /// The password is wrong.
    Wrong,
    /// Too many tries, from one address or all together; come back in so many seconds.
    TooMany(u64),
}

impl Door {
    /// With the hash of the password; log-ins are kept below the data folder.
    ///
    /// # Errors
    /// Where the system has no chance to give.
    pub fn new(hash: Secret, data: &Path) -> Result<Door, String> {
        let sessions = Sessions::open(data.join(FILE), hash.reveal());
        Ok(Door { password: Password::new(hash)?, sessions, attempts: Attempts::default() })
    }

    /// Tries a password from an address.
    async fn try_word(&self, word: String, address: IpAddr) -> Result<(), Refused> {
        if self.password.is_known(&word) {
            return Ok(());
        }
        let address = share_of(address);
        if let Err(wait) = self.attempts.take(address, clock::boot_now()) {
            return Err(Refused::TooMany(wait.0.div_ceil(1000)));
        }
        match self.password.try_word(word).await {
            Tried::Right => {
                self.attempts.forgive(address);
                Ok(())
            }
            Tried::Wrong => {
                tracing::warn!("the page: a wrong password from {address}");
                Err(Refused::Wrong)
            }
            Tried::Busy => Err(Refused::TooMany(1)),
        }
    }

    /// Who it is by what the headers show.
    async fn known(&self, headers: &HeaderMap, address: IpAddr) -> Result<LoggedIn, Refused> {
        for cookie in cookies(headers) {
            if let Some(name) = self.sessions.name(cookie, clock::wall_now()) {
                return Ok(LoggedIn(name));
            }
        }
        let Some((name, word)) = basic(headers) else { return Err(Refused::NotShown) };
        self.try_word(word, address).await.map(|()| LoggedIn(plain(&name)))
    }
}

/// Lets in who may be here; sends people to the form, and tells programs.
pub async fn let_in(Extracted(state): Extracted<State>, mut request: Request, next: Next) -> Response {
    let Some(door) = state.door() else { return next.run(request).await };
    let path = request.uri().path();
    if OPEN.iter().any(|open| path == *open || (open.ends_with('/') && path.starts_with(open))) {
        return next.run(request).await;
    }
    match door.known(request.headers(), address(request.extensions().get())).await {
        Ok(who) => {
            request.extensions_mut().insert(who);
            next.run(request).await
        }
        Err(Refused::NotShown)
            if !path.starts_with("/api/") && request.headers().get(header::AUTHORIZATION).is_none() =>
        {
            let path = request.uri().path_and_query().map_or("/", |path| path.as_str());
            // A form that was sent too late is not sent again by itself.
            let back = if request.method().is_safe() { path } else { "/" };
            Redirect::to(&format!("/login?then={}", escaped(back))).into_response()
        }
        Err(refused) => refused.problem(request.headers()).into_response(),
    }
}

impl Refused {
    fn words(&self) -> &'static str {
        match self {
            Refused::NotShown => "log in at /login, or send the password with HTTP Basic authentication",
            Refused::Wrong => "that is not the password",
            Refused::TooMany(_) => "too many tries; wait a little",
        }
    }

    fn problem(&self, headers: &HeaderMap) -> Response {
        let status = match self {
            Refused::TooMany(_) => StatusCode::TOO_MANY_REQUESTS,
            _ => StatusCode::UNAUTHORIZED,
        };
        let mut response = Problem::new(status, self.words()).into_response();
        match self {
            Refused::TooMany(seconds) => {
                response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(*seconds));
            }
            _ => {
                // A browser would ask by a window of its own where the page's script asks; it is told a scheme that it
                // does not know.
                let is_browser = headers.contains_key("sec-fetch-site");
                let challenge = if is_browser {
                    "Form realm=\"Standfast\""
                } else {
                    "Basic realm=\"Standfast\", charset=\"UTF-8\""
                };
                response.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static(challenge));
            }
        }
        response
    }
}

/// The form and what it leads to.
pub fn router() -> Router<State> {
    Router::new().route("/login", get(form)).route("/login", post(log_in)).route("/logout", post(log_out))
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct Asked {
    then: String,
}

async fn form(Extracted(state): Extracted<State>, Query(asked): Query<Asked>) -> Response {
    match state.door() {
        Some(_) => drawn(&within(&asked.then), None).into_response(),
        None => Redirect::to("/").into_response(),
    }
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct Given {
    name: String,
    password: String,
    then: String,
}

async fn log_in(
    Extracted(state): Extracted<State>,
    peer: Option<axum::Extension<ConnectInfo<SocketAddr>>>,
    Form(given): Form<Given>,
) -> Response {
    let Some(door) = state.door() else { return Redirect::to("/").into_response() };
    let then = within(&given.then);
    let peer = peer.map(|axum::Extension(peer)| peer);
    if let Err(refused) = door.try_word(given.password, address(peer.as_ref())).await {
        let status = match refused {
            Refused::TooMany(_) => StatusCode::TOO_MANY_REQUESTS,
            _ => StatusCode::UNAUTHORIZED,
        };
        return (status, drawn(&then, Some(refused.words()))).into_response();
    }
    let name = plain(&given.name);
    let begun = tokio::task::spawn_blocking({
        let state = state.clone();
        move || state.door().map(|door| door.sessions.begin(name, clock::wall_now()))
    });
    match begun.await {
        Ok(Some(Ok(cookie))) => with_cookie(Redirect::to(&then), &state, &cookie, LASTS.0 / 1000),
        _ => Problem::internal("the log-in cannot begin: the system gives no random numbers").into_response(),
    }
}

async fn log_out(Extracted(state): Extracted<State>, headers: HeaderMap) -> Response {
    let cookies: Vec<String> = cookies(&headers).map(str::to_owned).collect();
    let ended = tokio::task::spawn_blocking({
        let state = state.clone();
        move || state.door().map(|door| cookies.iter().for_each(|cookie| door.sessions.end(cookie)))
    });
    // A task that panics has ended the process.
    let _ = ended.await;
    with_cookie(Redirect::to("/login"), &state, "", 0)
}

fn with_cookie(redirect: Redirect, state: &State, cookie: &str, seconds: u64) -> Response {
    let (name, secure) = if state.is_secure() { (COOKIES[1], "; Secure") } else { (COOKIES[0], "") };
    let text = format!("{name}={cookie}; Path=/; HttpOnly; SameSite=Strict; Max-Age={seconds}{secure}");
    let mut response = redirect.into_response();
    if let Ok(value) = HeaderValue::from_str(&text) {
        response.headers_mut().insert(header::SET_COOKIE, value);
    }
    response
}

fn drawn(then: &str, refused: Option<&str>) -> Markup {
    let main = html! {
        @if let Some(refused) = refused {
            p.notice.refused role="alert" { strong { "Refused: " } (refused) }
        }
        form method="post" action="/login" {
            input type="hidden" name="then" value=(then);
            p {
                label for="name" { "Your name, which is written down with what you do" }
                input #name name="name" autocomplete="username" maxlength=(NAME_CHARS);
            }
            p {
                label for="password" { "Password" }
                input #password name="password" type="password" autocomplete="current-password" required;
            }
            p { button { "Log in" } }
        }
    };
    super::view::bare("Log in", &main)
}

/// The values of this server's cookies.
fn cookies(headers: &HeaderMap) -> impl Iterator<Item = &str> {
    let texts = headers.get_all(header::COOKIE).into_iter().filter_map(|value| value.to_str().ok());
    let pairs = texts.flat_map(|text| text.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.filter(|(name, _)| COOKIES.contains(name)).map(|(_, value)| value).take(4)
}

/// Name and password by RFC 7617.
fn basic(headers: &HeaderMap) -> Option<(String, String)> {
    let (scheme, rest) = headers.get(header::AUTHORIZATION)?.to_str().ok()?.split_once(' ')?;
    if !scheme.eq_ignore_ascii_case("basic") {
        return None;
    }
    let text = String::from_utf8(STANDARD.decode(rest.trim()).ok()?).ok()?;
    let (name, word) = text.split_once(':')?;
    Some((name.to_owned(), word.to_owned()))
}

fn address(peer: Option<&ConnectInfo<SocketAddr>>) -> IpAddr {
    peer.map_or(IpAddr::from([0, 0, 0, 0]), |ConnectInfo(peer)| peer.ip())
}

/// A name fit to be written down.
fn plain(name: &str) -> String {
    one_line(name, NAME_CHARS)
}

/// A place within this server; whoever leads elsewhere is led to the front.
fn within(then: &str) -> String {
    let is_path =
        then.starts_with('/') && !then.starts_with("//") && then.chars().all(|c| c.is_ascii_graphic() && c != '\\');
    if is_path { then.to_owned() } else { "/".to_owned() }
}

/// What a path keeps within a query; see RFC 3986, section 2.3.
const KEPT: AsciiSet = NON_ALPHANUMERIC.remove(b'-').remove(b'_').remove(b'.').remove(b'~').remove(b'/');

/// A path within a query.
fn escaped(path: &str) -> String {
    utf8_percent_encode(path, &KEPT).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_led_elsewhere() {
        for (then, expected) in [
            ("/", "/"),
            ("/load/fan?said=3", "/load/fan?said=3"),
            ("", "/"),
            ("//elsewhere.example", "/"),
            ("/\\elsewhere.example", "/"),
            ("https://elsewhere.example", "/"),
            ("/a\r\nSet-Cookie: x", "/"),
        ] {
            assert_eq!(within(then), expected, "{then:?}");
        }
        assert_eq!(escaped("/load/fan?at=2h&x=é"), "/load/fan%3Fat%3D2h%26x%3D%C3%A9");
    }

    #[test]
    fn what_headers_show_is_read_as_the_standards_have_it() {
        let headers = |name: header::HeaderName, value: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(name, HeaderValue::from_str(value).unwrap());
            headers
        };
        let cookie = headers(header::COOKIE, "a=b; standfast=one; __Host-standfast=two; standfast2=three");
        assert_eq!(cookies(&cookie).collect::<Vec<_>>(), ["one", "two"]);
        // The example of RFC 7617, section 2, and the one of section 2.1 in UTF-8.
        let given = |value: &str| basic(&headers(header::AUTHORIZATION, value));
        assert_eq!(given("Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ=="), Some(("Aladdin".to_owned(), "open sesame".to_owned())));
        assert_eq!(given("basic dGVzdDoxMjPCow=="), Some(("test".to_owned(), "123£".to_owned())));
        for wrong in ["", "Basic", "Basic !", "Bearer QWxhZGRpbjpvcGVuIHNlc2FtZQ==", "Basic QWxhZGRpbg=="] {
            assert_eq!(given(wrong), None, "{wrong}");
        }
        assert_eq!(plain("  Ann\nof \u{7}Rowan "), "Annof Rowan");
        assert_eq!(plain(&"x".repeat(90)).len(), NAME_CHARS);
    }
}
