//! The machine sleeps, its clock is set by hours and by years, summer time begins and ends: what the daemon makes of it, with a
//! board on the wire. No test can do that to the machine that it runs on, so the daemon's clocks are shifted from inside; all
//! else is real.

use std::io::BufRead;
use std::path::Path;
use std::time::Duration;

use standfast::daemon::clock;
use standfast::units::Span;

use super::home::{Board, HOUSE, Home};
use super::support::{Broker, Process, TEN_SECONDS};
use super::{Listener, start};

const OFF: [bool; 2] = [false, false];
const ON: [bool; 2] = [true, false];
const LAMP: [bool; 2] = [false, true];
const BOTH: [bool; 2] = [true, true];
const SECOND: i64 = 1000;
const HOUR: i64 = 3600 * SECOND;
/// Ten years with three leap days.
const TEN_YEARS: i64 = (3650 + 3) * 24 * HOUR;
/// 2027-01-15T12:30:00Z, a Friday.
const HALF_PAST_NOON: i64 = 1_800_016_200 * SECOND;

/// Shifts the clocks as it is told.
pub fn inside(_: &Path) -> Listener {
    std::thread::spawn(|| {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            let (what, ms) = line.split_once(' ').expect("two words");
            let ms: i64 = ms.parse().expect("a number");
            match what {
                "sleep" => clock::shift(Span(ms.unsigned_abs()), ms),
                "set" => clock::shift(Span::ZERO, ms - clock::wall_now().0),
                "step" => clock::shift(Span::ZERO, ms),
                other => panic!("{other}"),
            }
            println!("done");
        }
    });
    Box::new(|_| ())
}

struct Scene {
    // Ended first, since it makes its folder anew.
    daemon: Process,
    board: Board,
    home: Home,
    _broker: Broker,
}

/// A daemon by a clock of this kind, at half past noon on a day in January, whose fan runs while a condition is true.
fn scene(name: &str, kind: &str, condition: &str) -> Scene {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let usual = "{ sensor = \"sunroom-air\", cut_in = \">= 28.0\", cut_out = \"<= 26.5\" }";
    assert!(HOUSE.contains(usual));
    home.folder.write("rules/house.toml", &HOUSE.replace(usual, condition));
    let server = home.folder.read("standfast.toml").replace("\"always\"", &format!("{kind:?}"));
    home.folder.write("standfast.toml", &server);
    let mut life = home.listen("standfast/controller");
    let daemon = start(&home, &format!("clocks::{name}"), |_| ());
    life.expect(|message| message.payload.starts_with("birth "), TEN_SECONDS);
    let mut board = home.board();
    board.birth();
    let mut scene = Scene { _broker: broker, home, daemon, board };
    scene.shift("set", HALF_PAST_NOON);
    scene.board.report();
    scene
}

impl Scene {
    fn shift(&mut self, what: &str, ms: i64) {
        self.daemon.type_line(&format!("{what} {ms}"));
        self.daemon.expect_line(|line| line == "done", TEN_SECONDS);
    }

    /// What the board does once the daemon has looked at its clock.
    fn check(&mut self, what: &str, ms: i64, wanted: [bool; 2]) {
        self.shift(what, ms);
        // The orders that answer may be followed by others, where something has to be waited for.
        if self.board.report() != wanted {
            self.board.expect(wanted);
        }
        assert_eq!(self.board.report(), wanted, "{what} {ms}");
    }

    fn status(&self) -> String {
        self.home.ask(&["status"]).out
    }
}

const HOT: &str = "{ sensor = \"sunroom-air\", cut_in = \">= 28.0\", cut_out = \"<= 26.5\" }";
const NOON: &str = "{ from = \"12:00\", to = \"13:00\" }";

pub fn after_a_suspend_what_ran_out_meanwhile_is_over_and_what_did_not_goes_on() {
    let name = "after_a_suspend_what_ran_out_meanwhile_is_over_and_what_did_not_goes_on";
    let mut scene = scene(name, "always", HOT);
    scene.home.say("from/yard/reading/t1", "30");
    scene.board.expect(ON);
    assert_eq!(scene.home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    scene.board.expect(BOTH);
    // Less than the board may be silent.
    scene.check("sleep", 30 * SECOND, BOTH);
    let status = scene.status();
    assert!(status.contains("held on by") && status.contains("14:30"), "{status}");
    // An hour: the board fell back meanwhile, what the sensor said is too old, and the hold runs on.
    scene.board.relays = OFF;
    scene.check("sleep", HOUR, LAMP);
    let status = scene.status();
    assert!(status.contains("held on by") && status.contains("14:30"), "{status}");
    scene.home.say("from/yard/reading/t1", "30");
    scene.board.expect(BOTH);
    // The hold ended while the machine slept.
    scene.board.relays = OFF;
    scene.check("sleep", HOUR, OFF);
    assert!(!scene.status().contains("held"), "{}", scene.status());
    let log = scene.home.ask(&["log"]).out;
    let words = log.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("fan off (yard/1): the board's lease ran out"), "{log}");
}

pub fn schedules_follow_a_clock_that_is_set_and_holds_and_contacts_do_not() {
    let name = "schedules_follow_a_clock_that_is_set_and_holds_and_contacts_do_not";
    let mut scene = scene(name, "always", NOON);
    scene.board.expect(ON);
    assert_eq!(scene.home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    scene.board.expect(BOTH);
    for step in [HOUR, -HOUR, TEN_YEARS + HOUR, -TEN_YEARS - HOUR] {
        scene.check("step", step, LAMP);
        assert!(scene.status().contains("held on by"), "{}", scene.status());
        scene.check("step", -step, BOTH);
    }
    for step in [TEN_YEARS, -TEN_YEARS] {
        scene.check("step", step, BOTH);
    }
    // Two hours are two hours, whatever the clock showed meanwhile.
    scene.check("sleep", HOUR, LAMP);
    scene.check("sleep", HOUR, OFF);
}

pub fn summer_time_begins_and_ends() {
    let mut scene = scene("summer_time_begins_and_ends", "always", "{ from = \"01:30\", to = \"01:45\" }");
    // 2027-03-28T00:59:58Z, Europe/London: 01:00 becomes 02:00, so both ends lie within what is left out.
    scene.check("set", 1_806_195_598 * SECOND, OFF);
    scene.check("set", 1_806_195_602 * SECOND, OFF);
    // 2027-10-31T00:29:58Z: 02:00 becomes 01:00 again half an hour later. It opens by itself, the first time.
    scene.shift("set", 1_824_942_598 * SECOND);
    assert_eq!(scene.board.report(), OFF);
    scene.board.expect(ON);
    // A quarter of an hour later it closes, and the second time nothing happens.
    scene.check("set", 1_824_943_501 * SECOND, OFF);
    scene.check("set", 1_824_946_500 * SECOND, OFF);
}

pub fn a_clock_that_cannot_be_right_is_not_believed_until_it_is_set_again() {
    let name = "a_clock_that_cannot_be_right_is_not_believed_until_it_is_set_again";
    let mut scene = scene(name, "rtc", NOON);
    scene.board.expect(ON);
    let mut alarms = scene.home.listen("standfast/alarm/clock");
    // Where a battery is empty the clock begins anew. A window is unknown then, and that is safe.
    scene.check("step", -TEN_YEARS, OFF);
    let answer = scene.home.ask(&["hold", "lamp", "on", "22:00"]);
    assert!(answer.code == 1 && answer.err.contains("clock"), "{answer:?}");
    assert_eq!(scene.home.ask(&["hold", "lamp", "on", "2h"]).code, 0, "a duration asks no clock");
    scene.board.expect(LAMP);
    // Five minutes of it are an alarm, counted from when the daemon noticed, which it does once a second.
    let said = (0..5).find_map(|_| {
        scene.check("sleep", 300 * SECOND, LAMP);
        alarms.next(Duration::from_secs(3))
    });
    let said = said.expect("an alarm").payload;
    assert!(said.contains("the clock is not trusted"), "{said}");
    scene.check("step", TEN_YEARS, BOTH);
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    assert_eq!(scene.home.ask(&["hold", "lamp", "off", "22:00"]).code, 0);
    scene.board.expect(ON);
}
