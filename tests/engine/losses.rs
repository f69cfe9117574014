//! Losses that come together: two boards of one name, a machine without a battery for its clock, every board at once.

use standfast::engine::Event;
use standfast::house::State::{Off, On};
use standfast::units::WallTime;

use crate::bench::{Bench, span};

const HOUSE: &str = r#"
[sensor.air]
reading = "yard/t1"
unit = "°C"
[load.fan]
relay = "yard/1"
kind = "motor"
[rule.hot]
load = "fan"
demand = "on"
while = { sensor = "air", cut_in = ">= 25", cut_out = "<= 24" }
"#;

/// Boot 17 of `yard` reports through `bench.relays`, and a second board of that name beside it.
struct Two {
    bench: Bench,
    boot: u32,
    beat: u32,
}

impl Two {
    fn new(boot: u32) -> Two {
        let mut bench = Bench::new(HOUSE);
        bench.from("yard/life", "birth 17 power-on");
        for _ in 0..20 {
            bench.relays("yard", "off off off off");
        }
        bench.reading("air", 30.0);
        bench.relays("yard", "on off off off");
        Two { bench, boot, beat: 0 }
    }

    /// Some reports of both, as far apart as a lease of 90 s has them; the second one's fan is off, for it obeys nothing.
    fn report(&mut self, times: usize) {
        for _ in 0..times {
            self.beat += 1;
            self.bench.from("yard/report", &format!("{} {} 0 off off off off", self.boot, self.beat));
            self.bench.run_for("11s");
            self.bench.relays("yard", "on off off off");
            self.bench.run_for("11s");
        }
    }
}

/// Each of an earlier boot, and of the same one.
#[test]
fn of_two_boards_with_one_name_one_is_obeyed_and_a_person_is_told() {
    for boot in [3, 17] {
        let mut two = Two::new(boot);
        two.report(3);
        assert_eq!(two.bench.alarms(), [""; 0], "three reports may be late ones");
        two.report(3);
        let text = two.bench.alarm("namesake-yard").text.clone();
        // Orders are for a boot: within one, nobody knows who takes them.
        let obeyed = if boot == 3 { "in its boot 3 gets none" } else { "Both are in their boot 17" };
        assert!(text.contains("two boards call themselves \"yard\"") && text.contains(obeyed), "{text}");
        assert_eq!(text.contains("gets none"), boot == 3, "{text}");
        // All the while there is one board, and no contact of it is ordered for what the other says.
        assert_eq!(two.bench.explain("fan").known, Some(On));
        assert_eq!(two.bench.orders["yard"].boot, 17);
        let orders = two.bench.orders["yard"].number;
        two.report(2);
        assert_eq!(two.bench.orders["yard"].number, orders + 2, "one answer to each report of the one");
        let moved = two.bench.take_journal().into_iter().filter(|row| row.contains("\"changed\"")).count();
        assert_eq!(moved, 1, "the fan once, at the beginning");
    }
}

#[test]
fn the_alarm_about_two_boards_with_one_name_goes_with_the_second_one() {
    let mut two = Two::new(3);
    two.report(6);
    assert_eq!(two.bench.alarms(), ["namesake-yard"]);
    two.bench.restart(HOUSE, "1s", true, true);
    assert_eq!(two.bench.alarms(), ["namesake-yard"]);
    for _ in 0..15 {
        two.bench.reading("air", 30.0);
        two.bench.relays("yard", "on off off off");
        two.bench.run_for("20s");
    }
    assert_eq!(two.bench.alarms(), [""; 0]);
}

#[test]
fn the_alarm_about_two_boards_with_one_name_goes_with_the_board() {
    let mut two = Two::new(3);
    two.report(6);
    assert_eq!(two.bench.alarms(), ["namesake-yard"]);
    two.bench.reload("");
    // Its fan was on: the board is kept until that relay is surely open.
    two.bench.relays("yard", "off off off off");
    two.bench.reload("");
    assert_eq!(two.bench.alarms(), [""; 0]);
}

#[test]
fn a_change_of_the_house_is_no_second_board() {
    let mut two = Two::new(3);
    two.report(6);
    for minute in 0..6 {
        assert_eq!(two.bench.alarms().len(), usize::from(minute < 5), "{minute}");
        two.bench.reading("air", 30.0);
        two.bench.relays("yard", "on off off off");
        two.bench.reload(HOUSE);
        two.bench.run_for("20s");
    }
}

#[test]
fn reports_of_an_earlier_boot_that_a_stalled_link_delivers_together_are_no_second_board() {
    let mut two = Two::new(3);
    two.bench.relays("yard", "on off off off");
    for beat in 1..40 {
        two.bench.from("yard/report", &format!("3 {beat} 0 off off off off"));
    }
    assert_eq!(two.bench.alarms(), [""; 0]);
}

/// The clock shows 1970 until the network is there, and is put right by 56 years at once.
#[test]
fn a_machine_that_starts_in_1970_keeps_what_runs_and_waits_with_schedules() {
    let text = format!(
        "{HOUSE}[load.lamp]\nrelay = \"yard/2\"\nkind = \"led\"\n\
         [rule.lit]\nload = \"lamp\"\ndemand = \"on\"\nwhile = {{ from = \"11:00\", to = \"13:00\" }}\n"
    );
    let mut bench = Bench::new(&text);
    bench.relays("yard", "off off off off");
    bench.hold("fan", "on 2h");
    bench.run_for("10m");
    let right = bench.now.wall + span("1h");
    bench.restart(&text, "1h", false, true);
    // Nobody had told it yet.
    let mut bench = {
        bench.now.trusted = false;
        bench.now.wall = WallTime(5_000);
        bench.step(Event::Woken);
        bench
    };
    bench.relays("yard", "on off off off");
    bench.run_for("1m");
    assert_eq!(bench.wanted("fan"), On, "held");
    assert_eq!(bench.wanted("lamp"), Off, "a window is unknown, and safe is off");
    let number = bench.orders["yard"].number;
    bench.now.wall = right + span("1m");
    bench.trust(true);
    assert!(bench.orders["yard"].number <= number + 2, "nothing of 56 years is replayed");
    assert_eq!(bench.wanted("lamp"), Off, "ten past one");
    assert_eq!(bench.wanted("fan"), On);
    bench.run_for("50m");
    assert_eq!(bench.explain("fan").hold, None, "two hours and not one more");
}

#[test]
fn after_a_power_cut_every_board_is_back_at_once_and_one_load_closes_at_a_time() {
    let boards = ["yard", "hall", "cellar", "attic"];
    let mut text = String::new();
    for board in boards {
        text += &format!("[board.{board}]\nrelays = 4\n");
        for relay in 1..=4 {
            text += &format!("[load.{board}-{relay}]\nrelay = \"{board}/{relay}\"\nkind = \"led\"\nresting = \"on\"\n");
        }
    }
    let mut bench = Bench::played(&text);
    let relays: Vec<String> =
        boards.iter().flat_map(|board| (1..=4).map(move |relay| format!("{board}/{relay}"))).collect();
    let on = |bench: &Bench| relays.iter().filter(|relay| bench.closed(relay)).count();
    assert_eq!(on(&bench), 16);
    boards.iter().for_each(|board| bench.cut_power(board));
    assert_eq!(on(&bench), 0);
    bench.run_for("10s");
    boards.iter().for_each(|board| bench.power_up(board));
    let mut before = 0;
    for turn in 0..16 {
        bench.run_for(if turn == 0 { "100ms" } else { "300ms" });
        let now = on(&bench);
        assert!(now <= before + 1, "{now} after {before}");
        before = now;
    }
    assert_eq!(before, 16, "all within 16 turns of 300 ms");
}

const LOCKED: &str = r#"
[board.near]
relays = 1
lease = "60s"
[board.far]
relays = 1
lease = "60s"
[load.up]
relay = "near/1"
kind = "led"
[load.down]
relay = "far/1"
kind = "led"
[interlock.one-way]
loads = ["down", "up"]
dead_time = "1s"
"#;

/// One is on, and another one is wanted on beside it.
fn hold_both(bench: &mut Bench) {
    bench.relays("near", "off");
    bench.relays("far", "off");
    bench.run_for("31s");
    bench.hold("up", "on 2h");
    bench.relays("near", "on");
    bench.relays("far", "off");
    bench.hold("down", "on 2h");
}

/// The board of the first is lost until its lease has surely run out, and the other one takes its place.
fn fall_back(bench: &mut Bench) {
    for _ in 0..10 {
        bench.run_for("10s");
        bench.relays("far", "off");
    }
    assert_eq!(bench.ordered("far"), "on", "the other has fallen back: {}", bench.why("down"));
}

#[test]
fn a_report_that_comes_after_the_end_of_its_lease_closes_nothing_beside_another() {
    let mut bench = Bench::new(LOCKED);
    hold_both(&mut bench);
    assert_eq!(bench.ordered("near"), "on");
    fall_back(&mut bench);
    // It was sent before the lease ran out, and has waited in a link since.
    bench.relays_taken("near", bench.orders["near"].number, "on");
    assert_ne!(bench.ordered("near"), "on", "its relay may have opened since: {}", bench.why("up"));
}

/// The same on a circuit, whose room the other one has taken since.
#[test]
fn a_report_that_comes_after_the_end_of_its_lease_closes_nothing_where_its_room_is_taken() {
    let watts = LOCKED.replace("kind = \"led\"\n", "kind = \"led\"\npower = \"1 kW\"\n");
    let (loads, _) = watts.split_once("[interlock").expect("an interlock");
    let mut bench = Bench::new(&format!("{loads}[circuit.supply]\nloads = [\"down\", \"up\"]\nlimit = \"1.5 kW\"\n"));
    hold_both(&mut bench);
    assert_eq!((bench.ordered("near").as_str(), bench.ordered("far").as_str()), ("on", "off"));
    fall_back(&mut bench);
    bench.relays_taken("near", bench.orders["near"].number, "on");
    assert_ne!(bench.ordered("near"), "on", "its relay may have opened since: {}", bench.why("up"));
}
