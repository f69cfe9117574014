//! A change of the house that waits for a person goes on waiting over a crash, and over a stop and a start: the house that
//! was accepted last runs again. What would not have to wait is taken at a start.

use super::home::{Board, HOUSE, Home};
use super::support::{Broker, Message, Standfast, Subscriber, TEN_SECONDS};

const OFF: [bool; 2] = [false, false];
const FAN: [bool; 2] = [true, false];
const LAMP: [bool; 2] = [false, true];
const LAMP_TEXT: &str = "[load.lamp]\nrelay = \"yard/2\"\nkind = \"led\"\nhold_for = \"1h\"\n";
const TRIP: &str = "\n[rule.far-too-hot]\nload = \"fan\"\ndemand = \"off\"\npriority = 2\nreset = \"manual\"\n\
                    while = { sensor = \"sunroom-air\", cut_in = \">= 40\", cut_out = \"<= 35\" }\n";
const LOWER: [&str; 2] = ["cut_in = \">= 28.0\"", "cut_in = \">= 27.0\""];

/// A daemon that runs, its board, and the alarm about what waits.
struct Scene {
    // Ended first, since it makes its folder anew.
    daemon: Standfast,
    board: Board,
    alarms: Subscriber,
    home: Home,
    _broker: Broker,
}

fn scene(keys: &str, house: &str) -> Scene {
    let broker = Broker::start();
    let home = Home::new(broker.port(), keys);
    home.folder.write("rules/house.toml", house);
    let daemon = home.run();
    let board = home.live_board();
    let alarms = home.listen("standfast/alarm/house-waits");
    Scene { daemon, board, alarms, home, _broker: broker }
}

impl Scene {
    fn waits(&mut self, why: &str) {
        let says_why = |message: &Message| message.payload.contains(why);
        let alarm = self.alarms.expect(says_why, TEN_SECONDS);
        assert!(alarm.payload.contains("waits for `standfast apply`: "), "{alarm:?}");
    }

    /// Once by a crash and once by a stop, the file that waits has never run.
    fn goes_on_over_restarts(&mut self, wanted: [bool; 2], why: &str) {
        for round in 0..2 {
            if round == 0 {
                self.daemon.kill();
            } else {
                self.daemon.terminate();
                self.daemon.expect_end(TEN_SECONDS);
            }
            self.daemon = self.home.start();
            let told = |line: &str| line.contains(why) && line.contains("the house accepted last runs");
            self.daemon.expect_line(told, TEN_SECONDS);
            self.daemon.expect_line(|line| line.contains(", the one taken last, runs: "), TEN_SECONDS);
            for _ in 0..2 {
                assert_eq!(self.board.report(), wanted, "round {round}");
            }
            let status = self.home.ask(&["status"]).out;
            assert!(status.contains("alarm house-waits: ") && status.contains(why), "{status}");
        }
    }

    /// A person says that it is meant.
    fn applied(&mut self, wanted: [bool; 2]) {
        let answer = self.home.ask(&["apply"]);
        assert!(answer.code == 0 && answer.out.contains("runs now"), "{answer:?}");
        // What was applied stays so, whenever the next crash comes.
        self.daemon.kill();
        self.daemon = self.home.run();
        self.board.expect(wanted);
        let status = self.home.ask(&["status"]).out;
        assert!(!status.contains("house-waits"), "{status}");
    }
}

#[test]
fn a_latched_trip_whose_rule_was_taken_out_keeps_its_load_off_over_restarts() {
    let mut scene = scene("", &format!("{HOUSE}{TRIP}"));
    scene.daemon.terminate();
    scene.daemon.expect_end(TEN_SECONDS);
    scene.home.under_git();
    scene.daemon = scene.home.run();
    scene.home.say("from/yard/reading/t1", "45");
    scene.daemon.expect_line(|line| line.contains("far-too-hot"), TEN_SECONDS);
    scene.home.say("from/yard/reading/t1", "30");
    assert_eq!(scene.board.report(), OFF, "latched");
    scene.home.folder.write("rules/house.toml", HOUSE);
    scene.home.git(&["commit", "-q", "-a", "-m", "no trip"]);
    scene.waits("safety trip \\\"far-too-hot\\\" of load \\\"fan\\\" has tripped and would let go unseen");
    scene.home.say("from/yard/reading/t1", "30");
    scene.goes_on_over_restarts(OFF, "has tripped and would let go unseen");
    scene.home.say("from/yard/reading/t1", "30");
    assert_eq!(scene.board.report(), OFF, "still latched");
    let status = scene.home.ask(&["status"]).out;
    assert!(status.contains("alarm trip-far-too-hot: "), "{status}");
    scene.applied(FAN);
}

#[test]
fn a_load_that_was_renamed_while_it_is_held_on_stays_so_over_restarts() {
    let mut scene = scene("apply = \"save\"", HOUSE);
    assert_eq!(scene.home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    scene.board.expect(LAMP);
    scene.home.save_with("load.lamp", "load.lantern");
    scene.waits("on yard/2 is gone");
    scene.goes_on_over_restarts(LAMP, "load \"lamp\" on yard/2 is gone");
    let status = scene.home.ask(&["status"]).out;
    assert!(status.contains("lamp: on since ") && status.contains(", held on by a command of"), "{status}");
    scene.applied(OFF);
}

/// Somebody may have his hands in it, whatever it is called: it waits, says why, and comes on only once it is restored.
#[test]
fn a_load_that_was_renamed_while_it_is_withdrawn_waits_and_stays_withdrawn() {
    let mut scene = scene("apply = \"save\"", HOUSE);
    assert_eq!(scene.home.ask(&["withdraw", "fan", "bearing is out"]).code, 0);
    scene.home.say("from/yard/reading/t1", "30");
    assert_eq!(scene.board.report(), OFF);
    let renamed = HOUSE.replace("load.fan", "load.blower").replace("\"fan\"", "\"blower\"");
    scene.home.folder.write("rules/house.toml", &renamed);
    let why = "would be withdrawn until somebody restores it, since it comes on yard/1";
    scene.waits(why);
    scene.goes_on_over_restarts(OFF, why);
    let preview = scene.home.ask(&["apply", "--preview"]).out;
    assert!(preview.contains(why) && preview.contains("withdrawn (bearing is out)"), "{preview}");
    assert!(preview.contains("no contact would change at once"), "{preview}");
    let passed = "blower withdrawn (bearing is out): it has come on yard/1, and fan, which hung there, was withdrawn";
    let answer = scene.home.ask(&["apply"]);
    assert!(answer.code == 0 && answer.out.contains(passed), "{answer:?}");
    scene.daemon.expect_line(|line| line.contains(passed), TEN_SECONDS);
    scene.daemon.kill();
    scene.daemon = scene.home.run();
    for _ in 0..2 {
        scene.home.say("from/yard/reading/t1", "30");
        assert_eq!(scene.board.report(), OFF);
    }
    let status = scene.home.ask(&["status"]).out;
    assert!(status.contains("withdrawn (bearing is out)"), "{status}");
    assert_eq!(scene.home.ask(&["restore", "blower"]).code, 0);
    scene.board.expect(FAN);
}

#[test]
fn a_load_that_was_taken_out_while_the_daemon_was_off_waits_for_a_person() {
    let mut scene = scene("apply = \"save\"", HOUSE);
    assert_eq!(scene.home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    scene.board.expect(LAMP);
    scene.daemon.terminate();
    scene.daemon.expect_end(TEN_SECONDS);
    scene.home.save_with(LAMP_TEXT, "");
    scene.daemon = scene.home.run();
    scene.waits("on yard/2 is gone");
    scene.goes_on_over_restarts(LAMP, "load \"lamp\" on yard/2 is gone");
    // Who puts it back has nothing left to apply.
    scene.home.folder.write("rules/house.toml", HOUSE);
    scene.alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    assert_eq!(scene.board.report(), LAMP);
}

/// What waited has gone, and `standfast apply` would not take what came in its place.
#[test]
fn a_house_with_errors_in_the_place_of_one_that_waits_leaves_nothing_waiting() {
    let mut scene = scene("apply = \"save\"", HOUSE);
    scene.home.save_with(LAMP_TEXT, "");
    scene.waits("on yard/2 is gone");
    scene.home.folder.write("rules/house.toml", "nonsense");
    scene.alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    let status = scene.home.ask(&["status"]).out;
    assert!(status.contains("alarm house: ") && !status.contains("house-waits"), "{status}");
    scene.home.save_with(LAMP_TEXT, "");
    scene.waits("on yard/2 is gone");
    let status = scene.home.ask(&["status"]).out;
    assert!(!status.contains("alarm house: "), "{status}");
    scene.applied(OFF);
}

#[test]
fn a_house_that_was_emptied_of_its_loads_opens_nothing_over_restarts() {
    let mut scene = scene("apply = \"save\"", HOUSE);
    scene.home.say("from/yard/reading/t1", "30");
    scene.board.expect(FAN);
    let (without, _) = HOUSE.split_once("[load.fan]").expect("it is there");
    scene.home.folder.write("rules/house.toml", without);
    scene.waits("no load is left");
    scene.home.say("from/yard/reading/t1", "30");
    scene.goes_on_over_restarts(FAN, "no load is left");
    scene.applied(OFF);
}

#[test]
fn on_command_a_start_takes_nothing_that_nobody_applied() {
    let mut scene = scene("apply = \"command\"", HOUSE);
    scene.home.say("from/yard/reading/t1", "27.2");
    assert_eq!(scene.board.report(), OFF);
    let [before, after] = LOWER;
    scene.home.save_with(before, after);
    scene.goes_on_over_restarts(OFF, "apply = \"command\"");
    scene.home.say("from/yard/reading/t1", "27.2");
    assert_eq!(scene.board.report(), OFF);
    scene.applied(FAN);
}

#[test]
fn what_would_not_have_to_wait_is_taken_at_a_start() {
    let mut scene = scene("apply = \"save\"", HOUSE);
    scene.home.say("from/yard/reading/t1", "27.2");
    assert_eq!(scene.board.report(), OFF);
    scene.daemon.kill();
    let [before, after] = LOWER;
    scene.home.save_with(before, after);
    scene.daemon = scene.home.run();
    assert_eq!(scene.board.report(), OFF);
    scene.home.say("from/yard/reading/t1", "27.2");
    scene.board.expect(FAN);
    let status = scene.home.ask(&["status"]).out;
    assert!(!status.contains("house-waits"), "{status}");
}
