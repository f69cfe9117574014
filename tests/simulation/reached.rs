//! What a run of many seeds must have reached: every fault, every excuse, every checker with something to look at. It never
//! judges what was reached, only that it was.

use standfast::rehearse::check::Tally;

/// By what the checkers and the script counted.
const REACHED: [&str; 59] = [
    "I2 excused by a faulty relay",
    "I2 excused by a hand at the board",
    "I2 excused by a lapse",
    "I2 excused by slots 1 to 5",
    "I4 lapsed relays looked at",
    "act BadHouse",
    "act Broker",
    "act BrokerWrite",
    "act Button",
    "act ClockStep",
    "act Command",
    "act Crash",
    "act Cut",
    "act Distrust",
    "act Door",
    "act Exchange",
    "act Freeze",
    "act HoldMessage",
    "act Junk",
    "act Key",
    "act Machine",
    "act PowerCut",
    "act Relay",
    "act Reload",
    "act Reset",
    "act Stall",
    "board lost power",
    "board started",
    "contact moved by fallback",
    "contact moved by fault",
    "contact moved by hand",
    "contact moved by lapse",
    "contact moved by orders",
    "contact moved by power",
    "controller restarted",
    "controller restarted with its machine",
    "controller started with nothing stored",
    "controller unlinked",
    "copies of the engine",
    "hold by board",
    "hold by command",
    "hold by input",
    "hold by message",
    "hold ended: Released",
    "hold ended: Replaced",
    "hold ended: RulesChanged",
    "hold ended: TimeUp",
    "hold ended: Withdrawn",
    "hold kept over a restart",
    "hold kept over a restart of the machine",
    "house refused",
    "house taken",
    "loads that are what their array says",
    "loads that are what their hold says",
    "message lost",
    "loads looked at with a sensor that is stale",
    "orders looked at while settling",
    "relays without a load that are open",
    "steps taken alike",
];

/// What boards must have refused, by the words of their refusal.
const REFUSED: [&str; 4] = ["never sent", "no newer", "older than their lease", "which does not run"];

/// Asserts that everything was reached.
pub fn assert_all(tally: &Tally) {
    let refused = REFUSED.map(|why| format!("orders ignored: {why}"));
    let all = REACHED.iter().map(|what| (*what).to_owned()).chain(refused).chain(["threshold changed".to_owned()]);
    let missing: Vec<String> = all.filter(|what| tally.of(what) == 0).collect();
    assert!(missing.is_empty(), "never reached: {}", missing.join(", "));
    assert!(tally.of("orders taken") > 20 * tally.of("board started"), "boards were hardly ever obeying");
}
