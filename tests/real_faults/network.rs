//! The network between the board and the broker fails while the heater is on; board, broker and daemon are well.

use std::time::Duration;

use super::scene::{LEASE, Scene};
use super::support::{Message, Subscriber, TEN_SECONDS, Way};

/// Four beats are a lease. The board gives its silent link up after some 10 s, so the stall may not last much longer.
const BEATS_BEYOND_THE_LEASE: u32 = 5;

/// What is said at the broker on a topic below the prefix.
pub fn listen(scene: &Scene, topic: &str) -> Subscriber {
    Subscriber::start(scene.broker.port(), &[&format!("standfast/{topic}")])
}

/// Word `index` of a payload as a number.
pub fn number(message: &Message, index: usize) -> u32 {
    message.payload.split(' ').nth(index).and_then(|word| word.parse().ok()).unwrap_or_else(|| panic!("{message:?}"))
}

#[test]
fn a_boards_network_that_is_half_open_leaves_the_heater_off_and_heals() {
    let mut scene = Scene::new();
    let mut life = listen(&scene, "from/washhouse/life");
    scene.network.forget();
    scene.expect_heater(false);
    scene.expect_missed();
    // Nobody closed anything: the broker finds out by its keep-alive and says the board's will.
    life.expect(|message| message.payload.starts_with("death ") && !message.retained, 6 * TEN_SECONDS);
    scene.network.mend();
    scene.daemon.expect_line(|line| line.contains("board washhouse is heard"), 6 * TEN_SECONDS);
    scene.expect_heater(true);
}

#[test]
fn orders_that_waited_in_a_stalled_link_are_ignored_when_they_come() {
    let mut scene = Scene::new();
    let mut reports = listen(&scene, "from/washhouse/report");
    // The board still speaks, and hears nothing: what answers it piles up.
    scene.network.stall(Way::ToClient);
    let mut orders = listen(&scene, "to/washhouse/orders");
    let waiting = orders.next(TEN_SECONDS).expect("orders that wait");
    assert!(waiting.payload.ends_with(" 5 on -"), "{waiting:?}");
    scene.daemon.freeze();
    scene.expect_heater(false);
    let latest = number(&waiting, 2) + BEATS_BEYOND_THE_LEASE;
    reports.expect(|message| number(message, 1) >= latest, TEN_SECONDS);
    scene.network.release();
    scene.board.expect_line(|line| line.contains("which is older than their lease"), TEN_SECONDS);
    reports.expect(|message| number(message, 1) > latest + 2, TEN_SECONDS);
    let lines = scene.board.lines();
    let off = lines.iter().rposition(|line| line.text.ends_with("frost-heater is off")).expect("it went off");
    assert!(!lines[off..].iter().any(|line| line.text.ends_with("frost-heater is on")), "stale orders were obeyed");
    scene.daemon.thaw();
    scene.expect_heater(true);
}

#[test]
fn a_link_that_stalls_for_less_than_the_lease_moves_nothing() {
    let mut scene = Scene::new();
    let mut reports = listen(&scene, "from/washhouse/report");
    let before = number(&reports.next(TEN_SECONDS).expect("a report"), 1);
    scene.network.stall(Way::ToBroker);
    scene.network.stall(Way::ToClient);
    // One beat is not heard in time.
    assert_eq!(reports.next(Duration::from_millis(1500)), None);
    scene.network.release();
    reports.expect(|message| number(message, 1) > before + 4, LEASE + TEN_SECONDS);
    assert!(!scene.board.lines().iter().any(|line| line.text.ends_with("frost-heater is off")));
}
