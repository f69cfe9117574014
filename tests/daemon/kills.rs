//! The daemon is killed at instants drawn from a seed, most of them in the middle of a command: whatever was answered is
//! remembered, and what was not answered is done whole or not at all.

use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;

use serde_json::{Value, json};

use super::home::{HOUSE, Home};
use super::support::{Broker, Deadline, TEN_SECONDS};

/// Each is a life of the daemon.
const KILLS: u32 = 40;
/// So many commands are answered in a life at most.
const ANSWERED: u64 = 6;
/// The kill comes within this after a command that nobody waits for: about as long as one takes with its way to the disk.
const WITHIN: Duration = Duration::from_millis(3);

const MORE: &str = r#"
[selector.house]
positions = ["lived-in", "away", "shut"]
[setpoint.warm]
value = 28.0
range = [20, 32]
[rule.fan-trips]
load = "fan"
demand = "off"
priority = 2
reset = "manual"
while = { sensor = "sunroom-air", cut_in = ">= 50", cut_out = "<= 45" }
"#;

/// xorshift64 (Marsaglia, Xorshift RNGs, 2003).
struct Draw(u64);

impl Draw {
    fn below(&mut self, end: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % end
    }
}

/// What a person has said and the daemon has answered.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Said {
    /// The lamp's hold: its state and its end, to the second.
    hold: Option<(String, String)>,
    withdrawn: Option<String>,
    position: String,
    setpoint: String,
    tripped: bool,
    acknowledged: bool,
}

impl Said {
    fn of(status: &Value) -> Said {
        let load = |name: &str| {
            let loads = status["loads"].as_array().expect("loads");
            loads.iter().find(|load| load["load"] == name).unwrap_or_else(|| panic!("{name} in {status}"))
        };
        let text = |value: &Value| value.as_str().map(str::to_owned);
        let lamp = load("lamp");
        let alarms = status["alarms"].as_array().expect("alarms");
        let alarm = |id: &str| alarms.iter().find(|alarm| alarm["alarm"] == id);
        Said {
            hold: text(&lamp["hold"]["state"]).zip(text(&lamp["hold"]["until"])),
            withdrawn: text(&lamp["withdrawn"]["why"]),
            position: status["selectors"][0]["position"].to_string(),
            setpoint: status["setpoints"][0]["value"].to_string(),
            tripped: alarm("trip-fan-trips").is_some(),
            acknowledged: alarm("house").expect("the house has errors")["acknowledged"] == true,
        }
    }

    /// The same but for when a hold ends, which only its answer tells.
    fn is_like(&self, other: &Said) -> bool {
        let untimed =
            |said: &Said| Said { hold: said.hold.clone().map(|(state, _)| (state, String::new())), ..said.clone() };
        untimed(self) == untimed(other)
    }
}

/// A command, and what it leaves behind.
fn draw(draw: &mut Draw, before: &Said) -> (Value, Said) {
    let mut after = before.clone();
    let number = draw.below(1000);
    let request = match draw.below(7) {
        0 if before.tripped => {
            after.tripped = false;
            json!({ "do": "reset", "load": "fan" })
        }
        1 if !before.acknowledged => {
            after.acknowledged = true;
            json!({ "do": "acknowledge", "alarm": "house" })
        }
        2 if before.withdrawn.is_some() => {
            after.withdrawn = None;
            json!({ "do": "restore", "load": "lamp" })
        }
        2 => {
            // Withdrawing ends the hold.
            (after.hold, after.withdrawn) = (None, Some(format!("reason {number}")));
            json!({ "do": "withdraw", "load": "lamp", "why": format!("reason {number}") })
        }
        3 => {
            let position = ["lived-in", "away", "shut"][number as usize % 3];
            after.position = json!(position).to_string();
            json!({ "do": "select", "selector": "house", "position": position })
        }
        4 => {
            let value = 20.0 + (number % 100) as f64 / 10.0;
            after.setpoint = json!(value).to_string();
            json!({ "do": "set", "setpoint": "warm", "value": value.to_string() })
        }
        5 if before.hold.is_some() => {
            after.hold = None;
            json!({ "do": "release", "load": "lamp" })
        }
        _ if before.withdrawn.is_none() => {
            let state = ["on", "off"][number as usize % 2];
            after.hold = Some((state.to_owned(), String::new()));
            json!({ "do": "hold", "load": "lamp", "state": state, "term": format!("{}h", 1 + number % 9) })
        }
        _ => {
            after.position = json!("shut").to_string();
            json!({ "do": "select", "selector": "house", "position": "shut" })
        }
    };
    (request, after)
}

/// A person at the command socket.
struct Person {
    write: UnixStream,
    read: BufReader<UnixStream>,
}

impl Person {
    fn at(home: &Home) -> Person {
        let write = UnixStream::connect(home.folder.path("data/standfast.sock")).expect("the daemon listens");
        write.set_read_timeout(Some(TEN_SECONDS)).expect("set");
        let read = BufReader::new(write.try_clone().expect("cloned"));
        Person { write, read }
    }

    fn say(&mut self, request: &Value) {
        self.write.write_all(format!("{request}\n").as_bytes()).expect("said");
    }

    fn ask(&mut self, request: &Value) -> Value {
        self.say(request);
        let mut line = String::new();
        self.read.read_line(&mut line).expect("answered");
        let answer: Value = serde_json::from_str(&line).expect("JSON");
        // A reading of before the kill may be the last one that is stored, and then the trip's reason stands.
        assert!(answer["outcome"] == "done" || request["do"] == "reset", "{request}: {answer}");
        answer
    }

    fn look(&mut self) -> Said {
        Said::of(&self.ask(&json!({ "do": "status" }))["status"])
    }
}

#[test]
fn whatever_was_answered_survives_a_kill_at_any_instant() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    home.folder.write("rules/house.toml", &format!("{HOUSE}{MORE}"));
    let mut first = home.run();
    first.terminate();
    first.expect_end(TEN_SECONDS);
    // From here on the accepted house runs, and an alarm says so.
    home.folder.write("rules/house.toml", "nonsense");
    let mut dice = Draw(0x5eed_0f0a_57a9_d1e5);
    let (mut said, mut maybe): (Option<Said>, Option<Said>) = (None, None);
    let (mut done, mut undone, mut trips) = (0, 0, 0);
    for kill in 0..KILLS {
        let mut daemon = home.run();
        let mut person = Person::at(&home);
        let found = person.look();
        if let Some(said) = &said {
            let is_done = maybe.as_ref().is_some_and(|maybe| found.is_like(maybe));
            // A hold that was answered keeps its end to the second.
            let is_undone = found == *said;
            assert!(is_done || is_undone, "kill {kill}: said {said:?}, perhaps {maybe:?}, found {found:?}");
            (done, undone) = (done + u32::from(is_done && !is_undone), undone + u32::from(is_undone));
        }
        let mut now = found;
        for _ in 0..dice.below(ANSWERED) {
            let (request, after) = draw(&mut dice, &now);
            let is_done = person.ask(&request)["outcome"] == "done";
            let after = if is_done { after } else { now.clone() };
            let seen = person.look();
            assert!(seen.is_like(&after), "{request}: {seen:?} instead of {after:?}");
            now = seen;
        }
        if !now.tripped && dice.below(2) == 0 {
            home.say("from/yard/reading/t1", "55");
            let patience = Deadline::after(TEN_SECONDS);
            while !person.look().tripped {
                assert!(!patience.passed(), "it did not trip");
            }
            home.say("from/yard/reading/t1", "20");
            trips += 1;
            // Nobody answers a reading; what is answered later is stored behind what it did.
            person.ask(&json!({ "do": "select", "selector": "house", "position": "away" }));
            now = person.look();
        }
        let (request, after) = draw(&mut dice, &now);
        person.say(&request);
        // An instant by chance is what this is about; nothing is awaited.
        std::thread::sleep(Duration::from_micros(dice.below(WITHIN.as_micros() as u64)));
        daemon.kill();
        (said, maybe) = (Some(now), Some(after));
    }
    println!("of {} commands under way {done} were done and {undone} were not", done + undone);
    assert_eq!(done + undone, KILLS - 1);
    assert!(trips > 0, "none was drawn");
}
