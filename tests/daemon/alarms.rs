//! Alarms on their way to a person who does not look: the program of their choice, what it is told, and what happens when
//! it fails. The alarm is that of a house with errors, which comes and goes when a file is saved.

use super::home::{HOUSE, Home};
use super::support::{Broker, Standfast, TEN_SECONDS};

const TELL: &str = r#"read -r line
echo "told $STANDFAST_NEWS $STANDFAST_ALARM: $line ($1)"
"#;

/// A home whose alarms are told by a program, named with its arguments.
fn home(broker: &Broker, run: impl FnOnce(&Home) -> String) -> Home {
    home_that(broker, "delay = \"0s\"", run)
}

/// The same with further keys below `[alarm]`.
fn home_that(broker: &Broker, keys: &str, run: impl FnOnce(&Home) -> String) -> Home {
    let home = Home::on_save(broker.port());
    let alarm = format!("run = \"{}\"\n{keys}", run(&home));
    let file = std::fs::read_to_string(home.folder.path("standfast.toml")).expect("read");
    home.folder.write("standfast.toml", &format!("{file}\n[alarm]\n{alarm}\n"));
    home
}

fn says(daemon: &mut Standfast, part: &str) -> String {
    daemon.expect_line(|line| line.contains(part), TEN_SECONDS).text
}

#[test]
fn a_person_is_told_when_an_alarm_stands_and_when_it_is_over_also_over_a_restart() {
    let broker = Broker::start();
    let home = home(&broker, |home| {
        home.folder.write("tell.sh", TELL);
        format!("sh {} 'Rowan Cottage'", home.folder.path("tell.sh").display())
    });
    let mut daemon = home.run();
    home.folder.write("rules/house.toml", "nonsense");
    let told = says(&mut daemon, "told raised house: ");
    assert!(told.contains("the house has no [site]") && told.contains("(Rowan Cottage)"), "{told}");
    // The loop has turned meanwhile, so it knows that the program has taken it.
    assert!(home.ask(&["status"]).out.contains("alarm house"));
    daemon.signal(rustix::process::Signal::TERM);
    daemon.expect_end(TEN_SECONDS);
    // The house before runs, as the last one accepted, and nobody is told a second time.
    let mut daemon = home.run();
    home.folder.write("rules/house.toml", HOUSE);
    says(&mut daemon, "told cleared house: ");
    let lines: Vec<String> = daemon.lines().iter().map(|line| line.text.clone()).collect();
    assert!(!lines.iter().any(|line| line.contains("told raised")), "{lines:?}");
}

/// Nobody has heard of it, so the restart must not count it as told: neither that it stands nor that it is over.
#[test]
fn what_the_program_did_not_take_is_told_after_a_restart() {
    let broker = Broker::start();
    let home = home(&broker, |home| {
        home.folder.write("tell.sh", &format!("[ ! -e \"$1\" ] || exit 3\n{TELL}"));
        let part = |name: &str| home.folder.path(name).display().to_string();
        format!("sh {} {}", part("tell.sh"), part("out-of-order"))
    });
    let fails = "the alarm program failed: it ended with exit status: 3; tried again in 60 s";
    home.folder.write("out-of-order", "");
    let mut daemon = home.run();
    home.folder.write("rules/house.toml", "nonsense");
    says(&mut daemon, fails);
    daemon.terminate();
    daemon.expect_end(TEN_SECONDS);
    std::fs::remove_file(home.folder.path("out-of-order")).expect("removed");
    let mut daemon = home.run();
    says(&mut daemon, "told raised house: ");
    home.folder.write("out-of-order", "");
    home.folder.write("rules/house.toml", HOUSE);
    says(&mut daemon, fails);
    daemon.kill();
    std::fs::remove_file(home.folder.path("out-of-order")).expect("removed");
    let mut daemon = home.run();
    says(&mut daemon, "told cleared house: ");
}

#[test]
fn a_program_that_fails_is_an_alarm_of_its_own_and_disturbs_nothing() {
    let broker = Broker::start();
    let home = home(&broker, |_| "/nowhere/tell".to_owned());
    let mut daemon = home.run();
    let seen: Vec<String> = daemon.lines().iter().map(|line| line.text.clone()).collect();
    assert!(seen.iter().any(|line| line.contains("there is no program /nowhere/tell")), "{seen:?}");
    home.folder.write("rules/house.toml", "nonsense");
    says(&mut daemon, "the alarm program failed: /nowhere/tell does not start");
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect([true, false]);
}

/// The lamp as a buzzer.
const CALL: &str = "\n[rule.call]\nload = \"lamp\"\ndemand = \"on\"\nwhile = { alarm = \"any\" }\n";

fn told(home: &Home, argument: &str) -> String {
    home.folder.write("tell.sh", TELL);
    format!("sh {} '{argument}'", home.folder.path("tell.sh").display())
}

#[test]
fn an_alarm_calls_by_buzzer_broker_and_program_until_somebody_has_seen_it() {
    let broker = Broker::start();
    let home = home_that(&broker, "delay = \"1s\"\nreminder = \"10s\"", |home| told(home, "$(touch made-by-a-shell)"));
    home.folder.write("rules/house.toml", &format!("{HOUSE}{CALL}"));
    let mut daemon = home.run();
    let mut board = home.live_board();
    let mut topic = home.listen("standfast/alarm/house");
    home.folder.write("rules/house.toml", "nonsense");
    let raised = topic.next(TEN_SECONDS).expect("it is raised").payload;
    assert!(raised.contains("\"acknowledged\":false") && raised.contains("the house has no [site]"), "{raised}");
    board.expect([false, true]);
    let said = says(&mut daemon, "told raised house: ");
    assert!(said.contains("($(touch made-by-a-shell))"), "no shell has its hands on it: {said}");
    daemon.expect_line(|line| line.contains("told reminder house: "), 3 * TEN_SECONDS);
    let answer = home.ask(&["acknowledge", "house"]);
    assert!(answer.code == 0 && answer.out.contains("it stands until its reason is gone"), "{answer:?}");
    topic.expect(|message| message.payload.contains("\"acknowledged\":true"), TEN_SECONDS);
    // Somebody has seen it, so nobody has to be called.
    board.expect([false, false]);
    assert!(home.ask(&["status"]).out.contains("alarm house, acknowledged: "));
    home.folder.write("rules/house.toml", &format!("{HOUSE}{CALL}"));
    says(&mut daemon, "told cleared house: ");
    topic.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    assert!(!home.ask(&["status"]).out.contains("alarm house"));
    // The next one calls anew.
    home.folder.write("rules/house.toml", "nonsense");
    board.expect([false, true]);
}

#[test]
fn one_that_is_over_before_its_delay_stands_at_the_broker_and_is_told_nobody() {
    let broker = Broker::start();
    let home = home_that(&broker, "delay = \"1h\"", |home| told(home, "-"));
    let mut daemon = home.run();
    let mut topic = home.listen("standfast/alarm/house");
    for text in ["nonsense", HOUSE] {
        home.folder.write("rules/house.toml", text);
        topic.expect(|message| message.payload.is_empty() == (text == HOUSE), TEN_SECONDS);
    }
    daemon.terminate();
    daemon.expect_end(TEN_SECONDS);
    assert!(!daemon.transcript().contains("told "), "{}", daemon.transcript());
}
