//! Bad input over the wire: each is logged with its topic, at most once a minute for each topic; nothing switches and nothing
//! stops.

use super::home::{Board, Home};
use super::support::{Broker, Standfast, TEN_SECONDS, command, try_publish};

const OFF: [bool; 2] = [false, false];
const ON: [bool; 2] = [true, false];

struct Scene {
    // Ended first, since it makes its folder anew.
    daemon: Standfast,
    board: Board,
    home: Home,
    broker: Broker,
}

/// A board that is heard, all off, and the air at 20 °C.
fn scene() -> Scene {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let daemon = home.run();
    let mut board = home.board();
    board.birth();
    assert_eq!(board.report(), OFF);
    home.say("from/yard/reading/t1", "20");
    assert_eq!(board.report(), OFF);
    Scene { broker, home, daemon, board }
}

impl Scene {
    /// Publishes bad input three times; exactly one line with its topic and this part is logged, and nothing switches.
    fn check(&mut self, topic: &str, payload: &str, arguments: &[&str], part: &str) {
        for _ in 0..3 {
            let output = try_publish(self.broker.port(), topic, payload, arguments);
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        }
        self.daemon.expect_line(|line| line.contains(topic) && line.contains(part), TEN_SECONDS);
        // A report is answered after what was published before it.
        assert_eq!(self.board.report(), OFF);
        let about = format!("topic=\"{topic}\"");
        let lines: Vec<String> = self.daemon.lines().iter().map(|line| line.text.clone()).collect();
        let of_topic: Vec<&String> = lines.iter().filter(|line| line.contains(&about)).collect();
        assert_eq!(of_topic.len(), 1, "{of_topic:?}");
        assert!(of_topic[0].contains("WARN"), "{of_topic:?}");
        assert!(self.daemon.runs());
    }

    /// The house still works.
    fn still_works(&mut self) {
        self.home.say("from/yard/reading/t1", "30");
        self.board.expect(ON);
    }
}

const READING: &str = "standfast/from/yard/reading/t1";

#[test]
fn a_reading_that_is_no_number() {
    let mut scene = scene();
    scene.check(READING, "warm", &[], "expected a");
    scene.still_works();
}

#[test]
fn a_reading_that_is_not_a_number() {
    let mut scene = scene();
    scene.check(READING, "NaN", &[], "expected a");
    scene.still_works();
}

#[test]
fn an_infinite_reading() {
    let mut scene = scene();
    scene.check(READING, "inf", &[], "expected a");
    scene.still_works();
}

#[test]
fn a_reading_out_of_range() {
    let mut scene = scene();
    scene.check(READING, "850", &[], "850 °C is outside of the range -20 to 60 of sensor \"sunroom-air\"");
    scene.still_works();
}

#[test]
fn a_reading_that_was_retained() {
    let mut scene = scene();
    scene.daemon.terminate();
    scene.daemon.expect_end(TEN_SECONDS);
    scene.home.say_retained("from/yard/reading/t1", "35");
    scene.daemon = scene.home.run();
    scene.daemon.expect_line(|line| line.contains(READING) && line.contains("retained reading"), TEN_SECONDS);
    assert_eq!(scene.board.report(), OFF);
    scene.still_works();
}

#[test]
fn a_huge_payload() {
    let mut scene = scene();
    scene.check(READING, &"9".repeat(100_000), &[], "payload of 100000 bytes");
    scene.check("standfast/from/yard/report", &"off ".repeat(1000), &[], "payload of 4000 bytes");
    scene.still_works();
}

#[test]
fn a_payload_that_is_not_utf8() {
    let mut scene = scene();
    let file = scene.home.folder.path("bytes");
    std::fs::write(&file, [0xff, 0xfe, 0x32, 0x30]).expect("written");
    let output = command("mosquitto_pub")
        .args(["-h", "127.0.0.1", "-p", &scene.broker.port().to_string(), "-t", READING, "-f"])
        .arg(&file)
        .output()
        .expect("mosquitto_pub runs");
    assert!(output.status.success());
    scene.daemon.expect_line(|line| line.contains(READING) && line.contains("not UTF-8"), TEN_SECONDS);
    assert_eq!(scene.board.report(), OFF);
    scene.still_works();
}

#[test]
fn an_unknown_topic_or_name() {
    let mut scene = scene();
    scene.check("standfast/from/yard/mood", "good", &[], "no such topic");
    scene.check("standfast/from/attic/report", "17 1 0 on on", &[], "no board \"attic\"");
    scene.check("standfast/hold/cooker", "on", &[], "no load \"cooker\"");
    scene.check("standfast/hold/lanp", "on", &[], "no load \"lanp\"; did you mean \"lamp\"?");
    scene.check("standfast/from/yrad/report", "17 1 0 on on", &[], "no board \"yrad\"; did you mean \"yard\"?");
    scene.still_works();
}

#[test]
fn a_retained_hold() {
    let mut scene = scene();
    scene.check("standfast/hold/lamp", "on 2h", &["-r"], "retained hold");
    scene.still_works();
}

#[test]
fn a_hold_that_makes_no_sense() {
    let mut scene = scene();
    scene.check("standfast/hold/lamp", "on for ever", &[], "such as \"2h\"");
    scene.check("standfast/hold/fan", "maybe", &[], "expected");
    scene.still_works();
}

#[test]
fn text_like_orders_on_the_wrong_topic() {
    let mut scene = scene();
    scene.check("standfast/from/yard/orders", "9999 17 1 60 on on", &[], "no such topic");
    scene.check("standfast/from/yard/report", "9999 17 1 60 on on", &[], "expected");
    scene.still_works();
}

#[test]
fn a_report_for_a_relay_that_does_not_exist() {
    let mut scene = scene();
    let report = format!("{} 99 1 on on on", scene.board.boot);
    scene.check("standfast/from/yard/report", &report, &[], "speaks of 3 relays where the board has 2");
    scene.still_works();
}

#[test]
fn a_report_of_orders_that_were_never_given_and_never_will_be() {
    let mut scene = scene();
    let report = format!("{} 99 4294967295 off off", scene.board.boot);
    scene.check("standfast/from/yard/report", &report, &[], "took orders number 4294967295");
    // The numbers go on where they were, and after a restart as well.
    scene.still_works();
    assert!(scene.board.taken < 10_000, "{}", scene.board.taken);
}

#[test]
fn a_flood_of_invented_topics_does_not_flood_the_log() {
    let mut scene = scene();
    let text: String = (0..1500).map(|n| format!("{n}\n")).collect();
    let file = scene.home.folder.write("lines", &text);
    for topic in ["standfast/from/yard/a", "standfast/from/yard/b"] {
        let input = std::fs::File::open(&file).expect("there");
        let status = command("mosquitto_pub")
            .args(["-h", "127.0.0.1", "-p", &scene.broker.port().to_string(), "-q", "1", "-l", "-t", topic])
            .stdin(input)
            .status()
            .expect("mosquitto_pub runs");
        assert!(status.success());
    }
    assert_eq!(scene.board.report(), OFF);
    let warnings = scene.daemon.lines().iter().filter(|line| line.text.contains("WARN")).count();
    assert_eq!(warnings, 2, "{}", scene.daemon.transcript());
    scene.still_works();
}
