//! The way from whoever asks, at the socket or over the page, to the loop and back: bounded in number and in time. It never
//! touches the engine.

use std::time::Duration;

use tokio::sync::{mpsc, oneshot};
use tokio::time::timeout;

use super::protocol::{Request, Response};
use crate::engine::By;

/// So many requests wait for the loop.
const REQUESTS: usize = 32;
/// A place among them is waited for this long.
const PLACE: Duration = Duration::from_secs(30);
/// A request is answered within this: reading a large house with git is the longest.
const ANSWER: Duration = Duration::from_secs(60);

/// A request on its way to the loop.
#[derive(Debug)]
pub struct Asked {
    /// What is wanted.
    pub request: Request,
    /// Who wants it.
    pub by: By,
    /// Where the answer goes.
    pub answer: oneshot::Sender<Response>,
}

/// Where requests are handed in.
#[derive(Clone, Debug)]
pub struct Asking(mpsc::Sender<Asked>);

/// Both ends.
pub fn asking() -> (Asking, mpsc::Receiver<Asked>) {
    let (sender, receiver) = mpsc::channel(REQUESTS);
    (Asking(sender), receiver)
}

impl Asking {
    /// Asks the loop and waits for its answer, for a minute and a half at most.
    pub async fn ask(&self, request: Request, by: By) -> Response {
        let (answer, answered) = oneshot::channel();
        match timeout(PLACE, self.0.send(Asked { request, by, answer })).await {
            Ok(Ok(())) => {}
            Ok(Err(_)) => return Response::failed("the daemon is stopping"),
            Err(_) => return Response::failed("the daemon is too busy to listen"),
        }
        match timeout(ANSWER, answered).await {
            Ok(Ok(response)) => response,
            Ok(Err(_)) => Response::failed("the daemon is stopping"),
            Err(_) => Response::failed(format!("no answer within {} s", ANSWER.as_secs())),
        }
    }

    /// Waits until nobody listens any more.
    pub async fn closed(&self) {
        self.0.closed().await;
    }
}
