//! Boards that fall silent: when they count as lost, what their contacts may then be, and how they come back.

use standfast::engine::{Possible, Presence};
use standfast::house::{
    Relay,
    State::{Off, On},
};

use crate::bench::Bench;

const HOUSE: &str = r#"
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

const BOTH: Possible = Possible { energised: true, released: true };
const RELEASED: Possible = Possible { energised: false, released: true };
const ENERGISED: Possible = Possible { energised: true, released: false };

fn presence(bench: &Bench) -> Presence {
    bench.engine.presence(bench.board("yard"))
}

fn possible(bench: &Bench, number: u8) -> Possible {
    bench.engine.possible(Relay { board: bench.board("yard"), number })
}

fn bench() -> Bench {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:9000:0:0 off:9000:0:0 off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("31s");
    bench.relays("yard", "off:9031:0:0 off:9000:0:0 off off");
    bench
}

#[test]
fn a_board_is_lost_when_two_thirds_of_its_lease_bring_no_report() {
    let mut bench = bench();
    bench.run_for("59999ms");
    assert_eq!(presence(&bench), Presence::Present);
    bench.run_for("1ms");
    assert_eq!(presence(&bench), Presence::Lost);
    assert!(bench.alarm("board-yard").text.contains("fallback"));
}

#[test]
fn readings_and_inputs_are_no_reports() {
    let mut bench = bench();
    for _ in 0..7 {
        bench.run_for("10s");
        bench.from("yard/input/ask", "off");
    }
    assert_eq!(presence(&bench), Presence::Lost);
}

#[test]
fn a_board_without_a_lease_is_lost_after_sixty_seconds_and_the_alarm_says_that_it_stays_as_it_is() {
    let text = format!("[board.yard]\nrelays = 4\nlease = \"none\"\n{HOUSE}");
    let mut bench = Bench::new(&text);
    bench.relays("yard", "off off off off");
    bench.run_for("59s");
    assert_eq!(presence(&bench), Presence::Present);
    bench.run_for("1s");
    assert_eq!(presence(&bench), Presence::Lost);
    assert!(bench.alarm("board-yard").text.contains("stay as they are"));
}

#[test]
fn a_long_lease_is_waited_for_in_proportion() {
    let text = format!("[board.yard]\nrelays = 4\nlease = \"1h\"\n{HOUSE}");
    let mut bench = Bench::new(&text);
    bench.relays("yard", "off off off off");
    bench.run_for("39m59s");
    assert_eq!(presence(&bench), Presence::Present);
    bench.run_for("1s");
    assert_eq!(presence(&bench), Presence::Lost);
}

#[test]
fn a_board_never_heard_is_missed_from_the_first_contact_with_the_broker_on() {
    let mut bench = Bench::unlinked("2026-06-01 12:00", HOUSE);
    bench.run_for("10m");
    assert!(bench.alarms().is_empty(), "without the broker nobody could be heard");
    bench.link_up();
    bench.run_for("59s");
    assert_eq!(presence(&bench), Presence::Unheard);
    bench.run_for("1s");
    assert_eq!(presence(&bench), Presence::Lost);
    assert_eq!(bench.alarms(), ["board-yard"]);
}

#[test]
fn an_order_widens_what_a_contact_may_be_and_its_report_narrows_it() {
    let mut bench = bench();
    assert_eq!(possible(&bench, 1), RELEASED);
    bench.from("yard/input/ask", "on");
    assert_eq!(possible(&bench, 1), BOTH);
    let number = bench.orders["yard"].number;
    bench.relays_taken("yard", number - 1, "off:9040:0:0 off off off");
    assert_eq!(possible(&bench, 1), BOTH, "the report left before the order came");
    bench.relays("yard", "on:0:1:0 off off off");
    assert_eq!(possible(&bench, 1), ENERGISED);
}

#[test]
fn an_order_that_was_overtaken_may_still_be_under_way() {
    let mut bench = bench();
    bench.from("yard/input/ask", "on");
    let number = bench.orders["yard"].number;
    bench.from("yard/input/ask", "off");
    bench.relays_taken("yard", number - 1, "off:9040:0:0 off off off");
    assert_eq!(possible(&bench, 1), BOTH);
    bench.relays("yard", "off:9041:0:0 off off off");
    assert_eq!(possible(&bench, 1), RELEASED, "the later one was taken, so the earlier never will be");
}

#[test]
fn a_lost_boards_relay_may_be_in_its_last_state_in_its_fallback_or_released() {
    let mut bench = bench();
    bench.from("yard/life", "death 17");
    assert_eq!(possible(&bench, 1), RELEASED, "off, and its fallback is off");
    assert_eq!(possible(&bench, 2), BOTH, "off, and its fallback is on");
}

#[test]
fn an_order_under_way_when_the_board_was_lost_counts_until_its_lease_is_over() {
    let mut bench = bench();
    bench.from("yard/input/ask", "on");
    bench.from("yard/life", "death 17");
    assert_eq!(possible(&bench, 1), BOTH);
    bench.run_for("90s");
    assert_eq!(possible(&bench, 1), BOTH, "its clock may be slow by one part in a hundred");
    bench.run_for("2s");
    assert_eq!(possible(&bench, 1), RELEASED);
}

#[test]
fn when_the_lease_is_over_the_contact_is_in_its_fallback_or_without_power() {
    let mut bench = bench();
    bench.relays("yard", "on:3:1:0 on:3:1:0 off off");
    bench.run_for("91s");
    assert_eq!((possible(&bench, 1), possible(&bench, 2)), (BOTH, BOTH));
    bench.run_for("2s");
    assert_eq!(possible(&bench, 1), RELEASED, "its fallback is off");
    assert_eq!(possible(&bench, 2), BOTH, "its fallback is on, or it has no power");
}

#[test]
fn a_board_without_a_lease_may_stay_on_for_ever() {
    let text = format!("[board.yard]\nrelays = 4\nlease = \"none\"\n{HOUSE}");
    let mut bench = Bench::new(&text);
    bench.relays("yard", "on:3:1:0 off:3:1:0 off off");
    bench.from("yard/input/ask", "on");
    bench.run_for("3h");
    assert_eq!(possible(&bench, 1), BOTH);
}

#[test]
fn after_a_start_nobody_knows_what_a_relay_is_until_it_is_reported() {
    let mut bench = bench();
    assert_eq!(possible(&Bench::new(HOUSE), 1), BOTH);
    bench.restart(HOUSE, "10s", true, true);
    assert_eq!(possible(&bench, 2), BOTH, "its fallback is on and the lease may have run out");
    bench.relays("yard", "off:9100:0:0 off:9100:0:0 off off");
    assert_eq!((possible(&bench, 1), possible(&bench, 2)), (RELEASED, RELEASED));
}

#[test]
fn a_lease_that_ran_out_is_named_as_the_reason_of_what_the_relay_did() {
    let mut bench = Bench::played(HOUSE);
    bench.happen("yard", standfast::board::Event::Contact { input: "ask", closed: true });
    bench.run_for("1s");
    assert!(bench.runs("lamp"));
    bench.unplug("yard");
    bench.run_for("92s");
    assert!(!bench.runs("lamp") && bench.runs("flap"), "in its fallback");
    bench.take_journal();
    bench.plug("yard");
    bench.run_for("1s");
    let rows = bench.take_journal();
    let changed = rows.iter().find(|row| row.contains("\"changed\"") && row.contains("lamp")).expect("a row");
    assert!(changed.contains("lease-ran-out"), "{rows:?}");
    assert!(bench.runs("lamp"), "and what the rules want is ordered again");
}

#[test]
fn a_board_lost_for_a_moment_comes_back_without_a_contact_moving() {
    let mut bench = Bench::played(HOUSE);
    bench.happen("yard", standfast::board::Event::Contact { input: "ask", closed: true });
    bench.run_for("1s");
    bench.take_journal();
    bench.unplug("yard");
    bench.run_for("70s");
    assert_eq!(presence(&bench), Presence::Lost);
    assert_eq!(bench.wanted("lamp"), Off, "its contact is unknown, so safe would be ordered if it were there");
    bench.plug("yard");
    bench.run_for("5s");
    assert!(bench.runs("lamp"));
    let moved = bench.take_journal().into_iter().filter(|row| row.contains("\"changed\"") && row.contains("lamp"));
    assert_eq!(moved.count(), 0);
}

#[test]
fn while_a_board_is_lost_a_load_is_not_known_and_wishes_go_on() {
    let mut bench = bench();
    bench.from("yard/life", "death 17");
    assert_eq!(bench.explain("lamp").known, None);
    bench.hold("lamp", "on 1h");
    assert_eq!(bench.wanted("lamp"), On);
    assert!(!bench.sent_orders("yard"));
    bench.relays("yard", "off off off off");
    assert_eq!(bench.ordered("yard"), "on off - -");
}

#[test]
fn one_lost_board_does_not_disturb_another() {
    let text = format!(
        "[board.yard]\nrelays = 4\n[board.hall]\nrelays = 1\n[load.bell]\nrelay = \"hall/1\"\nkind = \"led\"\nresting = \"on\"\n{HOUSE}"
    );
    let mut bench = Bench::played(&text);
    bench.cut_power("yard");
    bench.run_for("10m");
    assert!(bench.runs("bell"));
    assert_eq!(bench.alarms(), ["board-yard"]);
}

#[test]
fn the_broker_gone_for_long_loses_every_board_and_all_come_back() {
    let mut bench = Bench::played(HOUSE);
    bench.step(standfast::engine::Event::LinkDown);
    bench.unplug("yard");
    bench.run_for("10m");
    assert_eq!(presence(&bench), Presence::Lost);
    bench.link_up();
    bench.plug("yard");
    bench.run_for("5s");
    assert_eq!(presence(&bench), Presence::Present);
    assert!(bench.alarms().is_empty());
    assert_eq!(bench.explain("flap").known, Some(Off));
}

/// A late report of a board that is gone, in a higher boot, is taken for a restart without a birth. The one that is there goes
/// on reporting, and repeats none of its contacts: it never lost its connection.
#[test]
fn what_a_board_told_of_its_contacts_counts_again_once_it_is_believed_again() {
    let text = "[input.door]\nat = \"yard/door\"\n[load.lamp]\nrelay = \"yard/1\"\nkind = \"led\"\n[rule.dark]\nload = \"lamp\"\n\
                demand = \"on\"\nwhile = { input = \"door\", is = \"on\" }\n";
    let mut bench = Bench::new(text);
    bench.from("yard/life", "birth 2 power-on");
    bench.from("yard/input/door", "on");
    bench.from("yard/report", "2 1 0 off off off off");
    bench.run_for("2s");
    assert!(bench.why("lamp").contains("input yard/door is on"), "{}", bench.why("lamp"));
    bench.from("yard/report", "9 400 0 off off off off");
    assert!(!bench.why("lamp").contains("input yard/door is on"), "{}", bench.why("lamp"));
    for beat in 2..14 {
        bench.run_for("20s");
        bench.from("yard/report", &format!("2 {beat} 0 off off off off"));
    }
    assert!(bench.why("lamp").contains("input yard/door is on"), "{}", bench.why("lamp"));
}

/// A sensor that says nothing is unknown while its board is lost, and so it is once the board is found, over a change of the house
/// as well: what waits for that does not stop and start again.
#[test]
fn a_sensor_that_is_known_to_be_unknown_stays_so_until_it_speaks() {
    let text = "[sensor.air]\nreading = \"yard/air\"\nunit = \"\u{b0}C\"\n[load.lamp]\nrelay = \"yard/1\"\nkind = \"led\"\n[rule.blind]\n\
                load = \"lamp\"\ndemand = \"on\"\nwhile = { sensor = \"air\", is = \"unknown\" }\n";
    let mut bench = Bench::new(text);
    bench.relays("yard", "off:900:0:0 off off off");
    bench.run_for("2m");
    assert_eq!(presence(&bench), Presence::Lost);
    let taken = bench.orders["yard"].number;
    bench.relays_taken("yard", taken, "off:1020:0:0 off off off");
    assert!(bench.ordered("yard").starts_with("on"), "{}", bench.why("lamp"));
    bench.reload(text);
    assert!(bench.ordered("yard").starts_with("on"), "{}", bench.why("lamp"));
    bench.from("yard/reading/air", "20");
    assert!(bench.ordered("yard").starts_with("off"), "{}", bench.why("lamp"));
}

/// Its lease had run out, and its relay stood by a fallback of before, which it keeps as long as orders do not reach it. The machine
/// had started anew, and nothing tells how long that took.
#[test]
fn what_stands_otherwise_after_an_untimed_start_may_stay_so_once_its_board_is_lost() {
    let text = "[board.yard]\nrelays = 1\n[board.shed]\nrelays = 1\n\
         [load.pump]\nrelay = \"yard/1\"\nkind = \"motor\"\npower = \"1.5 kW\"\n\
         [load.heater]\nrelay = \"shed/1\"\nkind = \"resistive\"\npower = \"1 kW\"\n\
         [circuit.garden]\nloads = [\"pump\", \"heater\"]\nlimit = \"2 kW\"\n";
    for (trusted, may_start) in [(false, false), (true, true)] {
        let mut bench = Bench::new(text);
        bench.relays("yard", "off:9000:0:0");
        bench.relays("yard", "off:9001:0:0");
        let taken = bench.orders["yard"].number;
        bench.restart(text, if trusted { "10s" } else { "1h" }, false, trusted);
        bench.relays_taken("yard", taken, "on:9:1:0");
        assert_eq!(bench.ordered("yard"), "off");
        bench.run_for("3m");
        assert!(bench.alarms().contains(&"board-yard"));
        bench.relays("shed", "off:9000:0:0");
        bench.hold("heater", "on 8h");
        bench.run_for("10s");
        assert_eq!(bench.ordered("shed") == "on", may_start, "{}", bench.why("heater"));
    }
}
