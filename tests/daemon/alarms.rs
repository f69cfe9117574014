//! Alarms on their way to a person who does not look: the program of their choice, what it is told, and what happens when
//! it fails. The alarm is that of a house with errors, which comes and goes when a file is saved.

use super::home::{HOUSE, Home};
use super::support::{Broker, Standfast, TEN_SECONDS};

const TELL: &str = r#"read -r line
echo "told $STANDFAST_NEWS $STANDFAST_ALARM: $line ($1)"
"#;

/// A home whose alarms are told by a program, named with its arguments.
fn home(broker: &Broker, run: impl FnOnce(&Home) -> String) -> Home {
    let home = Home::on_save(broker.port());
    let alarm = format!("run = \"{}\"\ndelay = \"0s\"", run(&home));
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
    daemon.signal(rustix::process::Signal::TERM);
    daemon.expect_end(TEN_SECONDS);
    // The house before runs, as the last one accepted, and nobody is told a second time.
    let mut daemon = home.run();
    home.folder.write("rules/house.toml", HOUSE);
    says(&mut daemon, "told cleared house: ");
    let lines: Vec<String> = daemon.lines().iter().map(|line| line.text.clone()).collect();
    assert!(!lines.iter().any(|line| line.contains("told raised")), "{lines:?}");
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
    let mut board = home.board();
    board.birth();
    board.report();
    home.say("from/yard/reading/t1", "30");
    board.expect([true, false]);
}
