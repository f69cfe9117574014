//! What every handler has: the way to the loop, copies of the engine, changes as they come. It never holds the engine itself.

use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;

use axum::extract::{ConnectInfo, FromRequestParts};
use axum::http::StatusCode;
use axum::http::request::Parts;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use super::Problem;
use super::login::{Door, LoggedIn};
use crate::daemon::asking::Asking;
use crate::daemon::feed::{Feed, Watcher};
use crate::daemon::glance::{Glance, Glances};
use crate::daemon::protocol::{RefusalKind, Request, Response, ResponseOutcome};
use crate::engine::By;

/// So many requests of the page wait for the loop at once, fewer than it takes: the command socket always finds a place.
const ASKING: usize = 16;

/// So many watch live at once, fewer than there are connections.
const WATCHERS: usize = 32;

/// What every handler has; cheap to clone.
#[derive(Clone)]
pub struct State(Arc<Inner>);

struct Inner {
    asking: Asking,
    glances: Glances,
    feed: Feed,
    names: Vec<String>,
    secure: bool,
    door: Option<Door>,
    places: Semaphore,
    watchers: Arc<Semaphore>,
}

/// What the state is made of.
pub struct Ends {
    /// The way to the loop.
    pub asking: Asking,
    /// Copies of the engine.
    pub glances: Glances,
    /// Changes as they come.
    pub feed: Feed,
}

/// How the page is served.
pub struct Manner {
    /// The names under which it may be asked for.
    pub names: Vec<String>,
    /// Over TLS.
    pub secure: bool,
    /// What stands before it, where it has a password.
    pub door: Option<Door>,
}

impl State {
    /// With the ends that the loop gives out.
    pub fn new(ends: Ends, manner: Manner) -> State {
        let Ends { asking, glances, feed } = ends;
        let Manner { names, secure, door } = manner;
        let names = names.into_iter().map(|name| name.to_ascii_lowercase()).collect();
        State(Arc::new(Inner {
            asking,
            glances,
            feed,
            names,
            secure,
            door,
            places: Semaphore::new(ASKING),
            watchers: Arc::new(Semaphore::new(WATCHERS)),
        }))
    }

    /// Asks the loop what the command socket can ask it too, on behalf of a person or a program. What is refused is
    /// [`ResponseOutcome::Refused`], with a sentence for people.
    ///
    /// # Errors
    /// Where the daemon is stopping, is too busy, or fails.
    pub async fn ask(&self, request: Request, by: By) -> Result<Response, Problem> {
        let Ok(_place) = self.0.places.acquire().await else {
            return Err(Problem::unavailable("the daemon is stopping"));
        };
        let response = self.0.asking.ask(request, by).await;
        match response.outcome {
            ResponseOutcome::Failed => Err(Problem::unavailable(response.text)),
            _ => Ok(response),
        }
    }

    /// A copy of the engine as it is now, to look at and to run ahead.
    ///
    /// # Errors
    /// Where the daemon is stopping or too busy.
    pub async fn glance(&self) -> Result<Glance, Problem> {
        let Ok(_place) = self.0.places.acquire().await else {
            return Err(Problem::unavailable("the daemon is stopping"));
        };
        self.0.glances.take().await.ok_or_else(|| Problem::unavailable("the daemon does not answer"))
    }

    /// A place to watch live.
    ///
    /// # Errors
    /// Where all of them are taken.
    pub fn place_to_watch(&self) -> Result<OwnedSemaphorePermit, Problem> {
        let place = self.0.watchers.clone().try_acquire_owned();
        place.map_err(|_| Problem::unavailable(format!("{WATCHERS} watch already; come back later")))
    }

    /// Changes from now on. A watcher that reads too slowly is told so by its place, and must look at everything anew.
    pub fn watch(&self) -> Watcher {
        self.0.feed.watch()
    }

    /// Names under which the page may be asked for beside addresses and localhost, in small letters.
    pub fn names(&self) -> &[String] {
        &self.0.names
    }

    /// What stands before the page, where it has a password.
    pub fn door(&self) -> Option<&Door> {
        self.0.door.as_ref()
    }

    /// Whether it is served over TLS.
    pub fn is_secure(&self) -> bool {
        self.0.secure
    }
}

/// What was done; a refusal as a problem.
///
/// # Errors
/// Where it was refused: 404, 400 or 409, by the kind of refusal.
pub fn done(response: Response) -> Result<Response, Problem> {
    let status = match (response.outcome, response.refusal) {
        (ResponseOutcome::Done, _) => return Ok(response),
        (_, Some(RefusalKind::Unknown)) => StatusCode::NOT_FOUND,
        (_, Some(RefusalKind::Malformed)) => StatusCode::BAD_REQUEST,
        _ => StatusCode::CONFLICT,
    };
    Err(Problem::new(status, response.text))
}

/// Who sent a request, as it is recorded: the name given at the log-in, else the address, nothing where it is this machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caller {
    who: String,
}

impl Caller {
    /// As a person at the page.
    pub fn on_page(self) -> By {
        By::Page(self.who)
    }

    /// As a program over the API.
    pub fn over_api(self) -> By {
        By::Api(self.who)
    }
}

impl<S: Sync> FromRequestParts<S> for Caller {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Caller, Infallible> {
        if let Some(LoggedIn(name)) = parts.extensions.get().filter(|LoggedIn(name)| !name.is_empty()) {
            return Ok(Caller { who: name.clone() });
        }
        let peer = parts.extensions.get::<ConnectInfo<SocketAddr>>().map(|ConnectInfo(peer)| peer.ip().to_canonical());
        let who = peer.filter(|peer| !peer.is_loopback()).map(|peer| peer.to_string()).unwrap_or_default();
        Ok(Caller { who })
    }
}
