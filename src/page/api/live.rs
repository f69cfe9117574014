//! Changes as they come, as server-sent events. Whoever reads too slowly is let go; a browser comes back by itself and looks
//! at everything anew. It never waits for a reader.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State as Extracted;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use futures_util::stream::{self, Stream};
use tokio::sync::OwnedSemaphorePermit;
use tokio::time::{Sleep, sleep};

use crate::daemon::feed::{Change, Watcher};
use crate::page::{Problem, State};

/// Something is sent at least this often, so that both ends notice a dead connection.
const KEEP_ALIVE: Duration = Duration::from_secs(15);
/// A stream ends after this, so that who may not be here any more is asked again.
const AT_MOST: Duration = Duration::from_secs(3600);
/// A browser comes back after this.
const BACK_AFTER: Duration = Duration::from_secs(2);

/// Changes as they come
///
/// Events are named `load`, `sensor`, `alarm`, `selector`, `setpoint`, `board`, `broker` and `house`, each with JSON as data;
/// the first is `begin`. A stream ends after an hour, and at once for who reads too slowly: come back and look at everything
/// anew.
#[utoipa::path(get, path = "/api/live", tag = "now", responses((status = 200, description = "Server-sent events", body = String, content_type = "text/event-stream")))]
pub async fn live(
    Extracted(state): Extracted<State>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    let place = state.place_to_watch()?;
    let reading = Reading { watcher: state.watch(), end: Box::pin(sleep(AT_MOST)), begun: false, _place: place };
    let events = stream::unfold(reading, |mut reading| async move {
        let event = reading.next().await?;
        Some((Ok(event), reading))
    });
    Ok(Sse::new(events).keep_alive(KeepAlive::new().interval(KEEP_ALIVE).text("still there")))
}

/// One reader.
struct Reading {
    watcher: Watcher,
    end: std::pin::Pin<Box<Sleep>>,
    begun: bool,
    _place: OwnedSemaphorePermit,
}

impl Reading {
    /// The next event; `None` when the stream is to end.
    async fn next(&mut self) -> Option<Event> {
        if !self.begun {
            self.begun = true;
            return Some(Event::default().event("begin").retry(BACK_AFTER).data("{}"));
        }
        tokio::select! {
            // What was missed is not known: whoever reads must look at everything anew.
            change = self.watcher.recv() => change.ok().map(|change| event(&change)),
            () = &mut self.end => None,
        }
    }
}

fn event(change: &Arc<Change>) -> Event {
    Event::default().event(change.kind.word()).data(&change.json)
}

#[cfg(test)]
mod tests {
    use tokio::sync::Semaphore;

    use super::*;
    use crate::daemon::feed::{ChangeKind, Teller};

    #[tokio::test]
    async fn who_reads_too_slowly_is_let_go_and_nobody_waits() {
        let teller = Teller::default();
        let reading = |watcher| {
            let place = Arc::new(Semaphore::new(1)).try_acquire_owned().unwrap();
            Reading { watcher, end: Box::pin(sleep(AT_MOST)), begun: false, _place: place }
        };
        let [mut quick, mut slow] = [teller.feed().watch(), teller.feed().watch()].map(reading);
        assert!(quick.next().await.is_some() && slow.next().await.is_some());
        for _ in 0..2000 {
            teller.tell(ChangeKind::Load, "{}".to_owned());
            assert!(quick.next().await.is_some());
        }
        assert!(slow.next().await.is_none());
    }
}
