//! Glances: copies of the engine for whoever looks at the whole house at length, as the page and its forecast do. The loop
//! hands one over and goes on; it never waits for who looks, and nothing done to a copy reaches the house.

use std::time::Duration;

use tokio::sync::{mpsc, oneshot};
use tokio::time::timeout;

use super::keeper::Keeper;
use super::seen::SeenOne;
use crate::engine::Engine;
use crate::store::Shelf;

/// So many may wait for a glance.
const WAITING: usize = 16;
/// The loop answers within this, or whoever asks is told that it does not.
const PATIENCE: Duration = Duration::from_secs(5);

/// The house at one moment.
#[derive(Debug)]
pub struct Glance {
    /// A copy of the engine as it stands at the moment of the glance.
    pub engine: Engine,
    /// The revision of its house.
    pub revision: String,
    /// Whether the broker is connected.
    pub linked: bool,
    /// Whether all that must survive is on disk.
    pub stored: bool,
    /// What boards said lately, the oldest first; what the house says to it is [`SeenOne::by`].
    pub seen: Vec<SeenOne>,
    /// The store's file, to read from.
    pub shelf: Shelf,
    /// Fulfilled once what was on its way to disk at the moment of the glance is there.
    pub settled: oneshot::Receiver<()>,
}

/// Where glances are asked for.
#[derive(Clone, Debug)]
pub struct Glances(mpsc::Sender<oneshot::Sender<Glance>>);

/// What the loop hears of who wants a glance.
pub type WantGlance = mpsc::Receiver<oneshot::Sender<Glance>>;

/// Both ends.
pub fn glances() -> (Glances, WantGlance) {
    let (sender, receiver) = mpsc::channel(WAITING);
    (Glances(sender), receiver)
}

impl Glances {
    /// The house as it is now; `None` where the loop has ended or does not answer within seconds.
    pub async fn take(&self) -> Option<Glance> {
        let (answer, answered) = oneshot::channel();
        timeout(PATIENCE, async {
            self.0.send(answer).await.ok()?;
            answered.await.ok()
        })
        .await
        .ok()
        .flatten()
    }
}

/// Makes one, in the loop.
pub fn glance(keeper: &mut Keeper) -> Glance {
    Glance {
        engine: keeper.look(),
        revision: keeper.revision().to_owned(),
        linked: keeper.is_linked(),
        stored: keeper.is_stored(),
        seen: keeper.seen().after(0).cloned().collect(),
        shelf: keeper.shelf(),
        settled: keeper.store().settled(),
    }
}
