//! How a daemon takes the controller's place at the broker: by one client id for each prefix, unless another lives there. It
//! carries no message.

use std::sync::Arc;

use super::config::{Broker, BrokerPlace};
use super::keeper::link_subscriptions;
use super::post::Post;
use super::start::StartError;
use super::{clock, rival};
use crate::house::House;
use crate::mqtt::{self, Inbox, LatestWins, Seat, Tls};
use crate::wire::Prefix;

/// Takes the place, unless another lives there.
///
/// # Errors
/// When another lives there, or a certificate cannot be had.
pub async fn take(broker: &Broker, address: mqtt::Address, house: &House) -> Result<(mqtt::Outbox, Inbox), StartError> {
    let link = link(broker, address, house)?;
    // To the embedded broker nobody else brings a daemon: its port is ours.
    if matches!(broker.place, BrokerPlace::At { .. }) && rival::lives(link.clone(), &broker.prefix).await {
        return Err(StartError::Rival(format!(
            "another standfast with the prefix {} is at the broker {}; stop it first, or give this one another `prefix` under \
             [broker]",
            broker.prefix, link.address
        )));
    }
    Ok(mqtt::start(link))
}

/// How this daemon is at the broker.
fn link(broker: &Broker, address: mqtt::Address, house: &House) -> Result<mqtt::Options, StartError> {
    let tls = match &broker.place {
        BrokerPlace::At { address, ca_file } if address.tls => {
            Some(Tls::new(ca_file.as_deref()).map_err(|error| StartError::Other(error.to_string()))?)
        }
        _ => None,
    };
    let prefix = &broker.prefix;
    let death = Post::death(prefix);
    tracing::info!("the broker is {address}");
    Ok(mqtt::Options {
        address,
        tls,
        // One controller for each prefix: a second one takes the session, and the first stops.
        client_id: prefix.as_str().replace('/', "-"),
        username: broker.username.clone(),
        password: broker.password.as_ref().map(|password| password.reveal().to_owned()),
        seat: Some(Seat { topic: death.topic.clone(), instance: instance() }),
        will: Some(death),
        subscriptions: link_subscriptions(house, prefix),
        latest_wins: latest_wins(prefix),
    })
}

/// A name that no other process has, now or later.
fn instance() -> String {
    let boot = clock::boot_id().unwrap_or_default();
    format!("{boot}/{}/{}", std::process::id(), clock::boot_now().0)
}

/// Of readings the newest is enough; whatever else comes is taken in order.
fn latest_wins(prefix: &Prefix) -> LatestWins {
    let prefix = prefix.clone();
    Arc::new(move |topic: &str| match prefix.below(topic) {
        Some(below) => below.split('/').nth(2) == Some("reading"),
        None => true,
    })
}
