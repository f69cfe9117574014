//! The test fixture itself: what the other integration tests rely on. It tests nothing of Standfast.
#![cfg(feature = "daemon")]

mod support;

use std::time::Duration;

use support::{Broker, Folder, Subscriber, TEN_SECONDS, publish, publish_retained, try_publish};

#[test]
fn a_message_goes_through_the_broker() {
    let broker = Broker::start();
    let mut subscriber = Subscriber::start(broker.port(), &["a/#"]);
    publish(broker.port(), "b/c", "not for us");
    publish(broker.port(), "a/c", "two words");
    let message = subscriber.next(TEN_SECONDS).expect("it is published");
    assert_eq!((message.topic.as_str(), message.payload.as_str()), ("a/c", "two words"));
    assert_eq!((message.retained, message.qos), (false, 1));
}

#[test]
fn a_persistent_broker_keeps_retained_messages_over_a_kill() {
    let mut broker = Broker::start_persistent();
    publish_retained(broker.port(), "kept", "still here");
    broker.save();
    broker.kill();
    assert!(!try_publish(broker.port(), "kept", "nobody hears", &[]).status.success());
    broker.restart();
    let message = Subscriber::start(broker.port(), &["kept"]).next(TEN_SECONDS).expect("it was retained");
    assert_eq!((message.payload.as_str(), message.retained), ("still here", true));
}

#[test]
fn a_frozen_broker_delivers_when_thawed() {
    let broker = Broker::start();
    let mut subscriber = Subscriber::start(broker.port(), &["a"]);
    broker.freeze();
    let port = broker.port();
    let publisher = std::thread::spawn(move || publish(port, "a", "late"));
    assert_eq!(subscriber.next(Duration::from_millis(300)), None);
    broker.thaw();
    assert_eq!(subscriber.next(TEN_SECONDS).map(|message| message.payload), Some("late".to_owned()));
    publisher.join().expect("the publisher was answered");
}

#[test]
fn a_folder_is_gone_after_use() {
    let folder = Folder::new();
    folder.write("inner/file", "text");
    assert_eq!(folder.read("inner/file"), "text");
    let path = folder.path("");
    drop(folder);
    assert!(!path.exists());
}
