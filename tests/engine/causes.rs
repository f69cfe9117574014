//! Why a contact turned, in the journal: what can be known is said, and nothing that is not so.

use standfast::board::Event;
use standfast::engine::{Cause, JournalEntry};

use crate::bench::Bench;

const HOUSE: &str = r#"
[board.yard]
relays = 3
lease = "10s"
[input.ask]
at = "yard/ask"
[load.lamp]
relay = "yard/1"
kind = "led"
[load.flap]
relay = "yard/2"
kind = "solenoid"
safe = "on"
[rule.lit]
load = "lamp"
demand = "on"
while = { input = "ask", is = "on" }
"#;

/// The lamp on, the flap off, and the board there.
fn lit() -> Bench {
    let mut bench = Bench::played(HOUSE);
    bench.hold("lamp", "on 8h");
    bench.run_for("1m");
    bench.take_journal();
    bench
}

/// Why each relay turned, `yard/1 LeaseRanOut`, and forgets it.
fn causes(bench: &mut Bench) -> Vec<String> {
    let told = bench.journal.iter().filter_map(|row| match &row.entry {
        JournalEntry::Changed { relay, cause, .. } => Some(match cause {
            Cause::Hold(_) => format!("{relay} held"),
            other => format!("{relay} {other:?}"),
        }),
        _ => None,
    });
    let told = told.collect();
    bench.journal.clear();
    told
}

#[test]
fn a_lease_that_ran_out_while_nobody_was_there_is_said_to_have_run_out() {
    for (gap, same_boot) in [("15s", true), ("6h", true), ("15s", false)] {
        let mut bench = lit();
        bench.crash(HOUSE, gap, same_boot, true);
        bench.run_for("1s");
        let [one, two, ..] = &causes(&mut bench)[..] else { panic!("{gap}: the lease ran out") };
        assert_eq!([one, two], ["yard/1 LeaseRanOut", "yard/2 LeaseRanOut"], "{gap}, same boot {same_boot}");
    }
}

#[test]
fn where_nothing_tells_for_how_long_nobody_was_there_none_is_said_to_have_run_out() {
    let mut bench = lit();
    bench.crash(HOUSE, "15s", false, false);
    bench.run_for("1s");
    let [one, two, ..] = &causes(&mut bench)[..] else { panic!("the lease ran out") };
    assert_eq!([one, two], ["yard/1 Unheard", "yard/2 Unheard"]);
}

#[test]
fn a_lease_that_had_not_run_out_is_not_said_to() {
    // Somebody else switched it, a second after the engine was gone.
    let mut bench = lit();
    bench.players.clear();
    bench.in_air.clear();
    let taken = bench.orders["yard"].number;
    bench.crash(HOUSE, "4s", true, true);
    bench.from("yard/report", &format!("17 9000 {taken} off:3 off:60 off:400"));
    assert_eq!(causes(&mut bench), ["yard/1 Unheard"]);
    // After the lease the flap would be on.
    let mut bench = lit();
    bench.players.clear();
    bench.in_air.clear();
    bench.crash(HOUSE, "40s", true, true);
    bench.from("yard/report", &format!("17 9000 {taken} off:3 off:99 off:400"));
    assert_eq!(causes(&mut bench), ["yard/1 Unheard"]);
}

#[test]
fn a_lease_that_ran_out_while_the_engine_stood_still_is_said_to_have_run_out() {
    let mut bench = lit();
    let taken = bench.orders["yard"].number;
    bench.players.clear();
    bench.in_air.clear();
    let thaw = bench.now.boot + standfast::units::Span::from_s(14);
    bench.pass_to(thaw);
    // What was sent before the lease ran out, and then what is so.
    bench.from("yard/report", &format!("17 9000 {taken} on:50 off:60 off:400"));
    bench.from("yard/report", &format!("17 9001 {taken} on:52 off:62 off:400"));
    bench.from("yard/report", &format!("17 9002 {taken} off:2 on:2 off:400"));
    assert_eq!(causes(&mut bench), ["yard/1 LeaseRanOut", "yard/2 LeaseRanOut"]);
}

#[test]
fn orders_that_were_taken_are_the_reason_though_others_have_followed() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:9000:0:0 on:9000:0:0 off");
    bench.from("yard/input/ask", "off");
    bench.run_for("31s");
    bench.relays("yard", "off:9031:0:0 off:1:1:0 off");
    causes(&mut bench);
    let mut numbers = Vec::new();
    for words in ["on 5m", "off 5m", "on 6m", "off 6m"] {
        bench.hold("lamp", words);
        numbers.push(bench.orders["yard"].number);
    }
    bench.relays_taken("yard", numbers[0], "off:9031:0:0 off:1:1:0 off");
    assert_eq!(causes(&mut bench), [""; 0], "a report that says what was so before it obeyed");
    bench.relays_taken("yard", numbers[0], "on:0:1:0 off:1:1:0 off");
    assert_eq!(causes(&mut bench), ["yard/1 held"]);
    bench.relays_taken("yard", numbers[1], "off:0:2:0 off:1:1:0 off");
    assert_eq!(causes(&mut bench), ["yard/1 held"]);
    bench.relays_taken("yard", numbers[2], "on:0:3:0 off:1:1:0 off");
    bench.relays_taken("yard", numbers[3], "off:0:4:0 off:1:1:0 off");
    assert_eq!(causes(&mut bench), ["yard/1 held", "yard/1 held"]);
}

#[test]
fn each_of_the_orders_is_told_for_its_own_reason() {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:9000:0:0 on:9000:0:0 off");
    bench.from("yard/input/ask", "off");
    bench.run_for("31s");
    bench.relays("yard", "off:9031:0:0 off:1:1:0 off");
    bench.take_journal();
    bench.from("yard/input/ask", "on");
    let by_rule = bench.orders["yard"].number;
    bench.hold("lamp", "off 5m");
    bench.relays_taken("yard", by_rule, "on:0:1:0 off:1:1:0 off");
    let journal = bench.take_journal().join("\n");
    assert!(journal.contains("\"lit\"") && !journal.contains("\"hold\""), "{journal}");
}

#[test]
fn what_nobody_ordered_and_no_fallback_explains_is_said_to_be_so() {
    let mut bench = lit();
    let taken = bench.orders["yard"].number;
    bench.players.clear();
    bench.in_air.clear();
    bench.from("yard/report", &format!("17 9000 {taken} off:0 off:60 off:400"));
    assert_eq!(causes(&mut bench), ["yard/1 Unordered"]);
}

#[test]
fn orders_that_the_memory_never_gave_are_no_deed_of_nobody() {
    let mut bench = lit();
    bench.players.clear();
    bench.in_air.clear();
    bench.crash(HOUSE, "4s", true, true);
    bench.from("yard/report", "17 9000 70000 off:3 on:3 off:400");
    assert_eq!(causes(&mut bench), ["yard/1 OrderedByOthers", "yard/2 OrderedByOthers"]);
}

#[test]
fn what_was_undone_while_nobody_was_there_is_done_again_for_what_is_so_now() {
    let mut bench = Bench::played(HOUSE);
    bench.happen("yard", Event::Contact { input: "ask", closed: true });
    bench.run_for("1m");
    assert!(bench.runs("lamp"));
    let text = HOUSE.replace("[rule.lit]", "[rule.lit-anew]");
    bench.crash(&text, "15s", true, true);
    bench.take_journal();
    bench.run_for("1m");
    assert!(bench.runs("lamp"));
    let journal = bench.take_journal().join("\n");
    assert!(journal.contains("lit-anew") && !journal.contains("\"lit\""), "{journal}");
}

/// Its orders are not taken until its lease has run out, and then they are: the numbers are those of now.
#[test]
fn what_is_said_again_after_a_lease_is_told_with_the_numbers_of_then() {
    let text = "[sensor.air]\nreading = \"yard/air\"\nstale_after = \"1h\"\n[load.fan]\nrelay = \"yard/1\"\nkind = \"motor\"\n\
                min_off = \"0s\"\n[rule.warm]\nload = \"fan\"\ndemand = \"on\"\nwhile = { sensor = \"air\", cut_in = \">= 28\", cut_out = \"<= 26\" }\n";
    let mut bench = Bench::new(text);
    bench.relays("yard", "off:9000:0:0 off off off");
    bench.reading("air", 30.0);
    bench.run_for("31s");
    bench.relays("yard", "off:9031:0:0 off off off");
    bench.relays("yard", "on:0:1:0 off off off");
    let taken = bench.orders["yard"].number;
    bench.relays_taken("yard", taken, "on:1:1:0 off off off");
    bench.reading("air", 35.0);
    for seconds in [10, 30, 50, 70, 90] {
        bench.run_for("20s");
        bench.relays_taken("yard", taken, &format!("on:{seconds}:1:0 off off off"));
    }
    bench.relays_taken("yard", taken, "off:0:2:0 off off off");
    bench.take_journal();
    bench.relays("yard", "on:0:3:0 off off off");
    let rows = bench.take_journal();
    let row = rows.iter().find(|row| row.contains("\"changed\"")).expect("a row");
    assert!(row.contains("35.0"), "{row}");
}
