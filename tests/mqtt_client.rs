//! The MQTT client task against Debian's mosquitto and against the embedded broker: late, killed, frozen, taken over.
//! It tests the link alone; nothing here knows what a payload means.

#![cfg(feature = "daemon")]

mod support;
#[path = "mqtt_client/tls.rs"]
mod tls;

use std::sync::Arc;
use std::time::Duration;

use standfast::mqtt::{self, Address, Inbox, LinkEvent, Message, Options, Outbox, Refusal, Seat, Subscription, Tls};
use support::{
    Broker, BrokerOptions, Folder, Subscriber, TEN_SECONDS, command, free_port, publish, publish_retained,
    wait_until_listening,
};
use tokio::time::timeout;

/// A half-open link is noticed after at most 2 × 5 s + 5 s; the rest is room for a loaded machine.
const FROZEN_NOTICED_WITHIN: Duration = Duration::from_secs(25);

fn options(port: u16, client_id: &str) -> Options {
    let heard = |filter: &str, retain_as_published: bool| Subscription {
        filter: filter.to_owned(),
        acknowledged: true,
        retain_as_published,
        no_local: false,
    };
    Options {
        address: Address { host: "127.0.0.1".to_owned(), port, tls: false },
        tls: None,
        client_id: client_id.to_owned(),
        username: None,
        password: None,
        will: Some(message("t/controller", "death", true)),
        seat: None,
        subscriptions: vec![heard("t/from/#", false), heard("t/hold/#", true)],
        latest_wins: Arc::new(|topic: &str| topic.contains("/reading/")),
    }
}

fn message(topic: &str, payload: &str, retain: bool) -> Message {
    Message { topic: topic.to_owned(), payload: payload.into(), acknowledged: true, retain, expires: None }
}

fn heard(topic: &str, payload: &str, retain: bool) -> LinkEvent {
    LinkEvent::Message { topic: topic.to_owned(), payload: payload.into(), retain }
}

async fn next(inbox: &mut Inbox, patience: Duration) -> LinkEvent {
    timeout(patience, inbox.next()).await.expect("an event in time").expect("the link goes on")
}

async fn expect_down(inbox: &mut Inbox, patience: Duration) -> String {
    match next(inbox, patience).await {
        LinkEvent::Down { why } => why,
        other => panic!("expected the link to be down, got {other:?}"),
    }
}

async fn connected(options: Options) -> (Outbox, Inbox) {
    let (outbox, mut inbox) = mqtt::start(options);
    assert_eq!(next(&mut inbox, TEN_SECONDS).await, LinkEvent::Up);
    (outbox, inbox)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn messages_go_both_ways_and_the_retain_flag_shows_where_it_is_asked_for() {
    let broker = Broker::start();
    publish_retained(broker.port(), "t/from/yard/life", "birth 17 power-on");
    let mut listener = Subscriber::start(broker.port(), &["t/to/#"]);
    let (outbox, mut inbox) = connected(options(broker.port(), "one")).await;
    assert_eq!(next(&mut inbox, TEN_SECONDS).await, heard("t/from/yard/life", "birth 17 power-on", true));
    publish(broker.port(), "t/from/yard/reading/t1", "23.4");
    assert_eq!(next(&mut inbox, TEN_SECONDS).await, heard("t/from/yard/reading/t1", "23.4", false));
    // Live, but published with the flag: told apart only with retain as published.
    publish_retained(broker.port(), "t/from/yard/reading/t1", "23.5");
    assert_eq!(next(&mut inbox, TEN_SECONDS).await, heard("t/from/yard/reading/t1", "23.5", false));
    publish_retained(broker.port(), "t/hold/lamp", "on");
    assert_eq!(next(&mut inbox, TEN_SECONDS).await, heard("t/hold/lamp", "on", true));
    outbox.publish(&message("t/to/yard/orders", "1 17 0 90 on", false)).expect("taken");
    let got = listener.expect(|message| message.topic == "t/to/yard/orders", TEN_SECONDS);
    assert_eq!((got.payload.as_str(), got.retained, got.qos), ("1 17 0 90 on", false, 1));
}

/// On topics that are ours alone others are heard and we are not; on the seat's topic we are known by our signature.
async fn check_others_are_heard(port: u16) {
    let ours = Subscription { no_local: true, ..Subscription::plain("t/to/+/fallback".to_owned()) };
    let seat = Seat { topic: "t/controller".to_owned(), instance: "this one".to_owned() };
    let options = Options { subscriptions: vec![ours], seat: Some(seat), ..options(port, "one") };
    let (outbox, mut inbox) = connected(options).await;
    for said in ["60 off", "90 off"] {
        outbox.publish(&message("t/to/yard/fallback", said, true)).expect("taken");
        outbox.publish(&message("t/controller", "birth", true)).expect("taken");
    }
    // Behind those, so that all that would come of them has come.
    let mut witness = Subscriber::start(port, &["t/#"]);
    witness.expect(|message| message.payload == "90 off", TEN_SECONDS);
    for (topic, said) in [("t/to/yard/fallback", "3600 on"), ("t/to/yard/fallback", ""), ("t/controller", "death")] {
        publish_retained(port, topic, said);
        assert_eq!(next(&mut inbox, TEN_SECONDS).await, heard(topic, said, false), "the first that comes");
    }
    outbox.close(Vec::new()).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_topics_of_our_own_only_others_are_heard() {
    check_others_are_heard(Broker::start().port()).await;
}

#[cfg(feature = "embedded-broker")]
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_topics_of_our_own_only_others_are_heard_at_the_embedded_broker_too() {
    let listen = std::net::SocketAddr::from(([127, 0, 0, 1], 0));
    let options = mqtt::embedded::EmbeddedOptions { listen, storage: None, account: None };
    let broker = mqtt::embedded::Embedded::start(&options).expect("started");
    check_others_are_heard(broker.address().port()).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn closing_says_the_last_words_and_not_the_will() {
    let broker = Broker::start();
    let mut listener = Subscriber::start(broker.port(), &["t/controller"]);
    let (outbox, mut inbox) = connected(options(broker.port(), "one")).await;
    outbox.close(vec![message("t/controller", "death by choice", true)]).await;
    assert_eq!(timeout(TEN_SECONDS, inbox.next()).await, Ok(None));
    assert_eq!(outbox.publish(&message("t/controller", "late", false)), Err(Refusal::NotConnected));
    publish(broker.port(), "t/controller", "end of test");
    listener.expect(|message| message.payload == "end of test", TEN_SECONDS);
    let said: Vec<String> = listener.messages().into_iter().map(|message| message.payload).collect();
    assert_eq!(said, ["death by choice", "end of test"]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_late_broker_is_waited_for_and_told_of_once() {
    let mut broker = Broker::start();
    let port = broker.port();
    broker.kill();
    let (outbox, mut inbox) = mqtt::start(options(port, "one"));
    assert_eq!(expect_down(&mut inbox, TEN_SECONDS).await, "connection refused");
    assert_eq!(outbox.publish(&message("t/to/yard/orders", "1", false)), Err(Refusal::NotConnected));
    // Long enough for several attempts, of which none is told.
    assert!(timeout(Duration::from_secs(2), inbox.next()).await.is_err());
    broker.restart();
    let mut listener = Subscriber::start(port, &["t/to/#"]);
    assert_eq!(next(&mut inbox, TEN_SECONDS).await, LinkEvent::Up);
    outbox.publish(&message("t/to/yard/orders", "2", false)).expect("taken");
    // What was refused while the link was down never comes.
    assert_eq!(listener.next(TEN_SECONDS).expect("a message").payload, "2");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_killed_and_back_is_subscribed_again() {
    let mut broker = Broker::start();
    let (_outbox, mut inbox) = connected(options(broker.port(), "one")).await;
    for round in 0..2 {
        broker.kill();
        expect_down(&mut inbox, TEN_SECONDS).await;
        broker.restart();
        assert_eq!(next(&mut inbox, TEN_SECONDS).await, LinkEvent::Up, "round {round}");
        publish(broker.port(), "t/from/yard/reading/t1", "1");
        assert_eq!(next(&mut inbox, TEN_SECONDS).await, heard("t/from/yard/reading/t1", "1", false));
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_frozen_broker_is_noticed_though_everything_is_full_and_nobody_waits_for_it() {
    let broker = Broker::start();
    let (outbox, mut inbox) = connected(options(broker.port(), "one")).await;
    broker.freeze();
    let flood = message("t/to/yard/fallback", &"x".repeat(8000), false);
    let mut full = false;
    let noticed = timeout(FROZEN_NOTICED_WITHIN, async {
        // Fill the socket and the channel behind it until the link is given up.
        loop {
            match outbox.publish(&flood) {
                Ok(()) => {}
                Err(Refusal::Full) => full = true,
                Err(other) => return other,
            }
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    });
    assert_eq!(noticed.await, Ok(Refusal::NotConnected));
    assert!(full, "the channel was never full");
    expect_down(&mut inbox, TEN_SECONDS).await;
    broker.thaw();
    assert_eq!(next(&mut inbox, TEN_SECONDS).await, LinkEvent::Up);
    publish(broker.port(), "t/from/yard/reading/t1", "2");
    assert_eq!(next(&mut inbox, TEN_SECONDS).await, heard("t/from/yard/reading/t1", "2", false));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_is_taken_over_stops_and_does_not_come_back() {
    let broker = Broker::start();
    check_taken_over(broker.port()).await;
}

#[cfg(feature = "embedded-broker")]
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_embedded_broker_tells_of_a_take_over_too() {
    let listen = "127.0.0.1:0".parse().expect("an address");
    let options = mqtt::embedded::EmbeddedOptions { listen, storage: None, account: None };
    let broker = mqtt::embedded::Embedded::start(&options).expect("started");
    check_taken_over(broker.address().port()).await;
    broker.stop();
}

async fn check_taken_over(port: u16) {
    let seated = |instance: &str| {
        let seat = Some(Seat { topic: "t/controller".to_owned(), instance: instance.to_owned() });
        Options { seat, ..options(port, "same") }
    };
    let birth = message("t/controller", "birth", true);
    let (first, mut first_inbox) = connected(seated("first")).await;
    first.publish(&birth).expect("taken");
    let (second, mut second_inbox) = connected(seated("second")).await;
    second.publish(&birth).expect("taken");
    // A broker that says nothing lets the first come back once, to find out what has happened.
    let mut last = next(&mut first_inbox, TEN_SECONDS).await;
    if matches!(last, LinkEvent::Down { .. }) {
        last = next(&mut first_inbox, TEN_SECONDS).await;
    }
    assert_eq!(last, LinkEvent::TakenOver);
    assert_eq!(timeout(TEN_SECONDS, first_inbox.next()).await, Ok(None));
    // Which may have thrown the second out once, but it stays.
    match timeout(Duration::from_secs(2), second_inbox.next()).await {
        Err(_) => {}
        Ok(Some(LinkEvent::Down { .. })) => {
            assert_eq!(next(&mut second_inbox, TEN_SECONDS).await, LinkEvent::Up);
            assert!(timeout(Duration::from_secs(2), second_inbox.next()).await.is_err());
        }
        Ok(other) => panic!("{other:?}"),
    }
    assert!(second.is_up());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn our_own_birth_and_a_predecessors_are_no_usurper() {
    let mut broker = Broker::start_persistent();
    let seated = |instance: &str| {
        let seat = Some(Seat { topic: "t/controller".to_owned(), instance: instance.to_owned() });
        Options { seat, ..options(broker.port(), "same") }
    };
    let predecessor = connected(seated("predecessor")).await.0;
    predecessor.close(vec![message("t/controller", "death", true)]).await;
    let (outbox, mut inbox) = connected(seated("ours")).await;
    for _ in 0..2 {
        outbox.publish(&message("t/controller", "birth", true)).expect("taken");
        publish(broker.port(), "t/from/yard/reading/t1", "1");
        assert_eq!(next(&mut inbox, TEN_SECONDS).await, heard("t/from/yard/reading/t1", "1", false));
        broker.save();
        broker.restart();
        expect_down(&mut inbox, TEN_SECONDS).await;
        assert_eq!(next(&mut inbox, TEN_SECONDS).await, LinkEvent::Up);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn other_subscriptions_take_effect_on_the_live_link() {
    let broker = Broker::start();
    let (outbox, mut inbox) = connected(options(broker.port(), "one")).await;
    let roof = Subscription::plain("roof".to_owned());
    let mut wanted = options(broker.port(), "one").subscriptions;
    wanted.push(roof);
    outbox.listen_to(wanted);
    // Published before the broker has subscribed us it would not arrive, so it is said until it does.
    let heard_roof = timeout(TEN_SECONDS, async {
        loop {
            publish(broker.port(), "roof", "1.5");
            if let Ok(event) = timeout(Duration::from_millis(200), inbox.next()).await {
                return event;
            }
        }
    });
    assert_eq!(heard_roof.await, Ok(Some(heard("roof", "1.5", false))));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_too_long_is_told_without_its_payload() {
    let broker = Broker::start();
    let (_outbox, mut inbox) = connected(options(broker.port(), "one")).await;
    publish(broker.port(), "t/from/yard/reading/t1", &"9".repeat(100_000));
    let expected = LinkEvent::TooLarge { topic: "t/from/yard/reading/t1".to_owned(), bytes: 100_000 };
    assert_eq!(next(&mut inbox, TEN_SECONDS).await, expected);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_message_expires_with_its_time() {
    let broker = Broker::start();
    let mut listener = Subscriber::start_as(broker.port(), &["t/to/#"], &["-V", "5", "-F", "|message| %q %r %t %p %E"]);
    let (outbox, _inbox) = connected(options(broker.port(), "one")).await;
    let expires = Some(standfast::units::Span(89_001));
    outbox.publish(&Message { expires, ..message("t/to/yard/orders", "1", false) }).expect("taken");
    let got = listener.expect(|message| message.topic == "t/to/yard/orders", TEN_SECONDS);
    assert!(matches!(got.payload.as_str(), "1 90" | "1 89"), "{got:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_wrong_password_is_told_once_and_as_such() {
    let folder = Folder::new();
    let passwords = folder.path("passwords");
    let made = command("mosquitto_passwd").args(["-b", "-c"]).arg(&passwords).args(["standfast", "right"]).status();
    assert!(made.expect("mosquitto_passwd runs").success());
    let extra = format!("allow_anonymous false\npassword_file {}", passwords.display());
    let broker = Broker::start_with(BrokerOptions { persistence: false, extra });
    let account = |password: &str| Options {
        username: Some("standfast".to_owned()),
        password: Some(password.to_owned()),
        ..options(broker.port(), "one")
    };
    let (_outbox, mut inbox) = mqtt::start(account("wrong"));
    assert_eq!(expect_down(&mut inbox, TEN_SECONDS).await, "the broker refuses the user name or password");
    assert!(timeout(Duration::from_secs(1), inbox.next()).await.is_err());
    connected(account("right")).await;
}

#[cfg(feature = "embedded-broker")]
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_embedded_broker_wants_the_password_and_keeps_what_is_retained() {
    let folder = Folder::new();
    let embedded = mqtt::embedded::EmbeddedOptions {
        listen: format!("127.0.0.1:{}", free_port()).parse().expect("an address"),
        storage: Some(folder.path("broker")),
        account: Some(("standfast".to_owned(), "right".to_owned())),
    };
    let account = |password: Option<&str>| Options {
        username: password.map(|_| "standfast".to_owned()),
        password: password.map(str::to_owned),
        ..options(embedded.listen.port(), "one")
    };
    let broker = mqtt::embedded::Embedded::start(&embedded).expect("started");
    for password in [None, Some("wrong")] {
        let (outbox, mut inbox) = mqtt::start(account(password));
        assert_eq!(expect_down(&mut inbox, TEN_SECONDS).await, "the broker refuses the user name or password");
        outbox.close(Vec::new()).await;
    }
    let (outbox, _inbox) = connected(account(Some("right"))).await;
    outbox.publish(&message("t/from/yard/life", "birth 3 power-on", true)).expect("taken");
    outbox.close(vec![message("t/from/cellar/life", "birth 4 power-on", true)]).await;
    broker.stop();
    let broker = mqtt::embedded::Embedded::start(&embedded).expect("started again");
    let (_outbox, mut inbox) = connected(account(Some("right"))).await;
    let mut kept = vec![next(&mut inbox, TEN_SECONDS).await, next(&mut inbox, TEN_SECONDS).await];
    kept.sort_by_key(|event| format!("{event:?}"));
    let expected =
        [heard("t/from/cellar/life", "birth 4 power-on", true), heard("t/from/yard/life", "birth 3 power-on", true)];
    assert_eq!(kept, expected);
    broker.stop();
}
