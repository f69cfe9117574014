//! Protections while orders are under way, reports get lost or the house changes: what a contact may be doing counts.

use crate::bench::Bench;

pub const TWO_BOARDS: &str = r#"
[board.yard]
relays = 4
[board.shed]
relays = 4
[input.ask]
at = "shed/ask"
[load.rail]
relay = "yard/1"
kind = "resistive"
[load.immersion]
relay = "shed/1"
kind = "resistive"
[interlock.heat]
loads = ["rail", "immersion"]
"#;

/// Two members of an interlock on one board, and somebody who asks.
const ONE_BOARD: &str = r#"
[input.ask]
at = "yard/ask"
[load.rail]
relay = "yard/1"
kind = "resistive"
min_on = "5m"
[load.immersion]
relay = "yard/2"
kind = "resistive"
[interlock.heat]
loads = ["rail", "immersion"]
"#;

#[test]
fn a_change_of_the_house_while_a_board_is_lost_does_not_keep_its_mates_off_for_ever() {
    let mut bench = Bench::played(TWO_BOARDS);
    bench.hold("rail", "on 8h");
    bench.run_for("2s");
    assert!(bench.closed("yard/1"));
    bench.cut_power("yard");
    bench.run_for("2s");
    bench.hold("rail", "release");
    bench.hold("immersion", "on 8h");
    bench.run_for("10s");
    assert!(!bench.closed("shed/1"), "the rail may be on until its lease has run out");
    bench.reload(TWO_BOARDS);
    bench.run_for("3m");
    assert!(bench.closed("shed/1"), "{}", bench.why("immersion"));
}

#[test]
fn max_on_counts_from_the_order_also_when_no_report_of_it_comes() {
    let mut bench = Bench::played("[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmax_on = \"20s\"\n");
    bench.player("yard").loses_reports = true;
    bench.hold("pump", "on 8h");
    bench.run_for("15s");
    assert!(bench.closed("yard/1"));
    bench.run_for("6s");
    assert!(!bench.closed("yard/1"), "{}", bench.why("pump"));
}

/// The pump has been off for long, and runs by an order of which no report has told yet.
#[test]
fn what_is_measured_while_an_order_is_under_way_contradicts_no_report() {
    let amps =
        "[sensor.amps]\nreading = \"shed/i1\"\nrange = [0, 10]\n[board.yard]\nrelays = 1\n[board.shed]\nrelays = 1\n";
    let pump = "[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\n\
         proof = { sensor = \"amps\", at_least = 0.2, within = \"10s\" }\n";
    let mut bench = Bench::played(&format!("{amps}{pump}"));
    bench.run_for("1m");
    bench.player("yard").loses_reports = true;
    bench.hold("pump", "on 8h");
    bench.run_for("1s");
    bench.reading("amps", 1.3);
    assert_eq!((bench.closed("yard/1"), bench.alarms()), (true, vec![]), "{}", bench.why("pump"));
    bench.player("yard").loses_reports = false;
    bench.run_for("30s");
    assert_eq!(bench.alarms(), [""; 0]);
    bench.reading("amps", 0.0);
    bench.run_for("11s");
    assert_eq!(bench.alarms(), ["proof-pump"]);
}

#[test]
fn an_interlock_does_not_open_within_min_on_what_has_just_been_ordered_on() {
    let text = format!(
        "{ONE_BOARD}[rule.rail-on]\nload = \"rail\"\ndemand = \"on\"\nwhile = {{ input = \"ask\", is = \"on\" }}\n"
    );
    let mut bench = Bench::played(&text);
    bench.never_together = vec!["yard/1", "yard/2"];
    bench.player("yard").loses_reports = true;
    bench.from("yard/input/ask", "on");
    bench.run_for("1s");
    assert!(bench.closed("yard/1"));
    bench.hold("immersion", "on 8h");
    bench.run_for("20s");
    assert!(bench.closed("yard/1"), "its min on runs: {}", bench.why("rail"));
    assert!(!bench.closed("yard/2"));
}

#[test]
fn what_orders_to_and_fro_may_have_closed_anew_is_not_opened_within_its_min_on() {
    let mut bench =
        Bench::new("[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmin_on = \"5m\"\nmin_off = \"0s\"\n");
    bench.relays("yard", "on:900:1:0 off off off");
    bench.run_for("31s");
    let taken = bench.orders["yard"].number;
    bench.hold("pump", "off 8h");
    bench.hold("pump", "on 8h");
    bench.withdraw("pump", "bearing");
    assert!(bench.ordered("yard").starts_with("off"), "it stands above min on");
    bench.restore("pump");
    bench.relays_taken("yard", taken, "on:931:1:0 off off off");
    assert!(bench.ordered("yard").starts_with('-'), "{}: {}", bench.ordered("yard"), bench.why("pump"));
    let taken = bench.orders["yard"].number;
    bench.relays_taken("yard", taken, "on:932:1:0 off off off");
    assert!(bench.ordered("yard").starts_with("off"), "none of them was: {}", bench.why("pump"));
}

/// The rule's order is stored with its going out, so that whoever starts next does not order to and fro.
#[test]
fn orders_that_a_killed_daemon_left_under_way_are_known_to_the_next_one() {
    let text = r#"
[input.ask]
at = "yard/ask"
[load.pump]
relay = "yard/1"
kind = "motor"
min_off = "5m"
[rule.runs]
load = "pump"
demand = "on"
while = { input = "ask", is = "on" }
"#;
    let mut bench = Bench::new(text);
    bench.relays("yard", "on:900:1:0 off off off");
    bench.from("yard/input/ask", "on");
    bench.run_for("31s");
    let taken = bench.orders["yard"].number;
    bench.relays_taken("yard", taken, "on:931:1:0 off off off");
    assert!(bench.ordered("yard").starts_with("on"), "{}", bench.why("pump"));
    bench.from("yard/input/ask", "off");
    assert!(bench.ordered("yard").starts_with("off"), "{}", bench.why("pump"));
    bench.crash(text, "5s", true, true);
    bench.relays_taken("yard", taken, "on:937:1:0 off off off");
    assert!(bench.ordered("yard").starts_with('-'), "{}: {}", bench.ordered("yard"), bench.why("pump"));
}

/// Nothing ends what a board without a lease does, whether it was ever heard or not.
#[test]
fn a_board_without_a_lease_that_is_not_heard_may_be_doing_anything() {
    let text = r#"
[board.yard]
relays = 4
[board.shed]
relays = 4
lease = "none"
[load.rail]
relay = "yard/1"
kind = "resistive"
power = "1500 W"
[load.immersion]
relay = "shed/1"
kind = "resistive"
power = "1500 W"
[circuit.supply]
loads = ["rail", "immersion"]
limit = "2 kW"
"#;
    let mut bench = Bench::played(text);
    bench.hold("immersion", "on 8h");
    bench.run_for("2s");
    assert!(bench.closed("shed/1"), "{}", bench.why("immersion"));
    bench.player("shed").loses_reports = true;
    bench.restart(text, "5m", true, true);
    bench.hold("rail", "on 8h");
    bench.run_for("2h");
    assert!(bench.closed("shed/1") && !bench.closed("yard/1"), "{}", bench.why("rail"));
    bench.player("shed").loses_reports = false;
    bench.hold("immersion", "release");
    bench.run_for("2m");
    assert!(bench.closed("yard/1"), "{}", bench.why("rail"));
}

/// Orders repeat what was said last in answer to each report, and only the first of them is stored.
#[test]
fn what_a_killed_daemon_had_said_again_may_be_under_way() {
    let text = "[load.rail]\nrelay = \"yard/1\"\nkind = \"resistive\"\nmin_off = \"6s\"\n";
    let mut bench = Bench::new(text);
    bench.relays("yard", "off:900:0:0 off off off");
    bench.run_for("31s");
    bench.hold("rail", "on 8h");
    let stored = bench.orders["yard"].number;
    bench.relays_taken("yard", stored, "on:0:1:0 off off off");
    let repeated = bench.orders["yard"].number;
    assert!(repeated > stored && bench.ordered("yard").starts_with("on"));
    bench.crash(text, "100s", true, true);
    bench.link_up();
    // Its lease ran out, and the orders that were repeated wait on the way.
    bench.relays_taken("yard", stored, "off:9:2:0 off off off");
    assert!(!bench.ordered("yard").starts_with("off"), "it may close any moment: {}", bench.why("rail"));
    let taken = bench.orders["yard"].number;
    bench.relays_taken("yard", taken, "off:10:2:0 off off off");
    assert!(bench.ordered("yard").starts_with("on"), "{}", bench.why("rail"));
}

/// What was off by the house of before is on by the one of now, and has been all the while, though its board dates nothing.
#[test]
fn max_on_counts_on_where_a_change_of_the_house_makes_a_run_of_what_was_none() {
    let wired = |contact: &str, limit: &str| {
        format!("[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\ncontact = \"{contact}\"\n{limit}")
    };
    let mut bench = Bench::new(&wired("NC", ""));
    let report = |bench: &mut Bench, times: u32| {
        for _ in 0..times {
            bench.relays("yard", "on off off off");
            bench.run_for("20s");
        }
    };
    report(&mut bench, 9);
    bench.reload(&wired("NO", "max_on = \"200s\"\n"));
    bench.hold("pump", "on 8h");
    report(&mut bench, 1);
    assert!(bench.ordered("yard").starts_with("off"), "{}", bench.why("pump"));
}

/// A board that is lost goes on with earlier beats of the boot that is known, and is believed again: what it was ordered before in
/// that boot may still come, or have come.
#[test]
fn orders_for_a_boot_that_is_believed_again_are_still_under_way() {
    let mut bench =
        Bench::new("[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmin_on = \"5m\"\nmin_off = \"5m\"\n");
    bench.relays("yard", "off:9000:0:0 off off off");
    bench.run_for("31s");
    let taken = bench.orders["yard"].number;
    bench.from("yard/report", &format!("17 50 {taken} off:9031:0:0 off off off"));
    bench.hold("pump", "on 8h");
    bench.withdraw("pump", "bearing");
    assert!(bench.ordered("yard").starts_with("off"), "{}", bench.why("pump"));
    bench.restore("pump");
    bench.run_for("2m");
    for beat in 0..3 {
        bench.run_for("20s");
        bench.from("yard/report", &format!("17 {} {taken} off:{}:0:0 off off off", 10 + beat, 9171 + 20 * beat));
    }
    bench.run_for("1s");
    assert!(bench.ordered("yard").starts_with('-'), "{}: {}", bench.ordered("yard"), bench.why("pump"));
}

/// The same where reports of earlier boots came late, and passed for those of a board that hangs there in its place, and then its own.
#[test]
fn orders_for_a_boot_that_another_one_hid_are_still_under_way() {
    let mut bench = Bench::new("[load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\nmin_on = \"5m\"\n");
    bench.relays("yard", "off:9000:0:0 off off off");
    bench.run_for("31s");
    bench.relays("yard", "off:9031:0:0 off off off");
    bench.hold("pump", "on 8h");
    assert!(bench.ordered("yard").starts_with("on"), "{}", bench.why("pump"));
    bench.run_for("65s");
    for boot in [15, 16] {
        bench.from("yard/life", &format!("birth {boot} power-on"));
        bench.from("yard/report", &format!("{boot} 1 0 off:3:0:0 off off off"));
    }
    bench.hold("pump", "off 8h");
    assert!(bench.ordered("yard").starts_with("off"), "nothing is under way to that one: {}", bench.why("pump"));
    bench.from("yard/life", "birth 17 power-on");
    bench.from("yard/report", "17 1 0 off:9000:0:0 off off off");
    assert!(bench.ordered("yard").starts_with('-'), "{}: {}", bench.ordered("yard"), bench.why("pump"));
}

/// A trip may close over min off, and slots 1 to 5 may open within min on; that an interlock lets no trip close is neither.
#[test]
fn an_interlock_does_not_open_what_may_have_been_closed_before_it_was_withdrawn() {
    let text = format!(
        "{ONE_BOARD}[rule.frost]\nload = \"rail\"\ndemand = \"on\"\npriority = 2\nwhile = {{ input = \"ask\", is = \"on\" }}\n"
    );
    let mut bench = Bench::new(&text);
    bench.relays("yard", "off:900:0:0 off:900:0:0 off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("31s");
    bench.relays("yard", "off:931:0:0 off:931:0:0 off off");
    let taken = bench.orders["yard"].number;
    bench.hold("rail", "on 8h");
    assert!(bench.ordered("yard").starts_with("on"), "{}", bench.why("rail"));
    bench.withdraw("rail", "bearing");
    assert!(bench.ordered("yard").starts_with("off"), "{}", bench.why("rail"));
    bench.restore("rail");
    bench.relays_taken("yard", taken, "off:931:0:0 on:0:1:1 off off");
    bench.from("yard/input/ask", "on");
    let ordered = |bench: &mut Bench, taken: u32| {
        bench.relays_taken("yard", taken, "off:931:0:0 on:0:1:1 off off");
        bench.ordered("yard")
    };
    assert!(ordered(&mut bench, taken).starts_with('-'), "{}: {}", bench.ordered("yard"), bench.why("rail"));
    let latest = bench.orders["yard"].number;
    assert!(ordered(&mut bench, latest).starts_with("off"), "none of them was: {}", bench.why("rail"));
}

/// Two that hands want on, and orders against each other under way to the one that is: a report of the first must not call forth the
/// contrary of what the last one said, else each report does so from then on.
#[test]
fn members_of_an_interlock_do_not_chatter_by_orders_that_overtake_each_other() {
    let mut bench = Bench::new(TWO_BOARDS);
    bench.relays("yard", "off:900 off off off");
    bench.relays("shed", "off:900 off off off");
    bench.hold("immersion", "on 8h");
    bench.relays("shed", "on:0 off off off");
    bench.hold("rail", "on 8h");
    assert_eq!(bench.ordered("yard"), "off - - -", "{}", bench.why("rail"));
    let last =
        |bench: &Bench| (bench.orders["shed"].number, bench.ordered("shed").split(' ').next().unwrap().to_owned());
    let mut under_way = std::collections::VecDeque::new();
    for to in ["off 8h", "on 8h"] {
        bench.hold("immersion", to);
        under_way.push_back(last(&bench));
    }
    let mut words = Vec::new();
    for _ in 0..12 {
        let Some((number, word)) = under_way.pop_front() else { break };
        words.push(word.clone());
        bench.relays_taken("shed", number, &format!("{word}:0 off off off"));
        let next = last(&bench);
        if words.len() < 10 && under_way.back() != Some(&next) && next.0 > number {
            under_way.push_back(next);
        }
    }
    let settled = words.last().expect("orders went out");
    assert!(words.iter().rev().take(5).all(|word| word == settled), "{words:?}: {}", bench.why("immersion"));
}
