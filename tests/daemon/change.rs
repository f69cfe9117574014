//! The house changes while it runs: saved, committed, half-written, emptied, applied by hand.

use std::time::Duration;

use super::home::{HOUSE, Home};
use super::support::{Broker, Deadline, Standfast, TEN_SECONDS, command};

const OFF: [bool; 2] = [false, false];
const ON: [bool; 2] = [true, false];
const THRESHOLD: &str = "cut_in = \">= 28.0\"";
const LOWER: &str = "cut_in = \">= 27.0\"";

fn says(daemon: &mut Standfast, part: &str) -> String {
    daemon.expect_line(|line| line.contains(part), TEN_SECONDS).text
}

#[test]
fn a_saved_threshold_takes_effect_and_the_revision_shows() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "27.2");
    assert_eq!(board.report(), OFF);
    let mut said = home.listen("standfast/controller");
    let before = said.next(TEN_SECONDS).expect("a birth").payload;
    home.save_with(THRESHOLD, LOWER);
    says(&mut daemon, "runs now");
    board.expect(ON);
    let after = said.next(TEN_SECONDS).expect("another birth").payload;
    assert!(after.starts_with("birth ") && after != before, "{before} {after}");
}

#[test]
fn a_half_written_or_wrong_house_changes_nothing_and_raises_an_alarm_that_says_why() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    let mut alarms = home.listen("standfast/alarm/house");
    for wrong in [&HOUSE[..HOUSE.len() / 2 + 7], &HOUSE.replace("kind = \"motor\"", "kind = \"moter\""), ""] {
        home.folder.write("rules/house.toml", wrong);
        says(&mut daemon, "the house has errors, so the one before goes on");
        let alarm = alarms.next(TEN_SECONDS).expect("an alarm");
        assert!(alarm.payload.contains("house.toml") || wrong.is_empty(), "{alarm:?}");
        home.say("from/yard/reading/t1", "30");
        board.expect(ON);
        home.say("from/yard/reading/t1", "20");
        board.expect(OFF);
    }
    home.folder.write("rules/house.toml", HOUSE);
    let cleared = alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    assert_eq!(cleared.payload, "");
}

#[test]
fn a_house_that_is_gone_changes_nothing() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    std::fs::remove_dir_all(home.folder.path("rules")).expect("removed");
    says(&mut daemon, "the house has errors, so the one before goes on");
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    home.folder.write("rules/house.toml", &HOUSE.replace(THRESHOLD, "cut_in = \">= 33.0\"").replace("26.5", "32"));
    says(&mut daemon, "runs now");
    board.expect(OFF);
}

/// A folder that is moved away takes its watch with it.
#[test]
fn a_work_tree_that_is_moved_away_is_told_soon_and_once_and_is_found_again() {
    let broker = Broker::start();
    let home = Home::new(broker.port(), "");
    home.under_git();
    let mut daemon = home.run();
    let mut board = home.live_board();
    let mut alarms = home.listen("standfast/alarm/house");
    let (rules, away) = (home.folder.path("rules"), home.folder.path("away"));
    std::fs::rename(&rules, &away).expect("moved");
    says(&mut daemon, "the house has errors, so the one before goes on");
    alarms.expect(|message| message.payload.contains("no such folder"), TEN_SECONDS);
    // It is looked for all the while.
    let while_it_is_gone = Deadline::after(Duration::from_secs(7));
    while !while_it_is_gone.passed() {
        board.report();
    }
    let told = daemon.transcript().matches("ERROR").count();
    assert_eq!(told, 1, "{}", daemon.transcript());
    std::fs::rename(&away, &rules).expect("moved");
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
}

/// At the start there was no folder to ask whether it is in git.
#[test]
fn a_work_tree_that_was_away_at_the_start_runs_only_what_is_committed_once_it_is_back() {
    let broker = Broker::start();
    let home = Home::new(broker.port(), "");
    home.under_git();
    let mut daemon = home.run();
    daemon.terminate();
    daemon.expect_end(TEN_SECONDS);
    let (rules, away) = (home.folder.path("rules"), home.folder.path("away"));
    std::fs::rename(&rules, &away).expect("moved");
    let mut daemon = home.start();
    says(&mut daemon, "so the one accepted last runs");
    says(&mut daemon, "connected to the broker");
    let mut board = home.live_board();
    let mut alarms = home.listen("standfast/alarm/house");
    alarms.expect(|message| message.payload.contains("no such folder"), TEN_SECONDS);
    std::fs::rename(&away, &rules).expect("moved");
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
    home.save_with(THRESHOLD, LOWER);
    let answer = home.ask(&["apply"]);
    assert!(answer.out.contains("runs already; what is saved and not committed is not in it"), "{answer:?}");
    home.say("from/yard/reading/t1", "27.2");
    assert_eq!(board.report(), OFF);
    home.git(&["commit", "-q", "-a", "-m", "sooner"]);
    says(&mut daemon, "runs now");
    board.expect(ON);
}

#[test]
fn a_pipe_among_the_files_of_the_house_keeps_nobody_waiting() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let pipe = home.folder.path("rules/pipe.toml");
    let made = command("mkfifo").arg(&pipe).status().expect("mkfifo runs");
    assert!(made.success());
    let preview = home.ask(&["apply", "--preview"]);
    assert!(preview.code == 1 && preview.err.contains("pipe.toml"), "{preview:?}");
    let mut alarms = home.listen("standfast/alarm/house");
    alarms.expect(|message| message.payload.contains("pipe.toml"), TEN_SECONDS);
    daemon.kill();
    let mut daemon = home.start();
    says(&mut daemon, "so the one accepted last runs");
    std::fs::remove_file(&pipe).expect("removed");
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
}

#[test]
fn a_watched_change_that_takes_a_load_away_waits_for_a_person() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    assert_eq!(home.ask(&["hold", "lamp", "on", "2h"]).code, 0);
    board.expect([false, true]);
    let mut alarms = home.listen("standfast/alarm/house-waits");
    let without_lamp = HOUSE.replace("[load.lamp]\nrelay = \"yard/2\"\nkind = \"led\"\nhold_for = \"1h\"\n", "");
    home.folder.write("rules/house.toml", &without_lamp);
    let alarm = alarms.next(TEN_SECONDS).expect("an alarm").payload;
    assert!(alarm.contains("waits for `standfast apply`") && alarm.contains("on yard/2 is gone"), "{alarm}");
    assert_eq!(board.report(), [false, true]);
    home.folder.write(
        "rules/house.toml",
        &HOUSE
            .replace("\"yard/2\"", "\"yard/1\"")
            .replace("[load.fan]\nrelay = \"yard/1\"", "[load.fan]\nrelay = \"yard/2\""),
    );
    says(&mut daemon, "moves from yard/1 to yard/2");
    assert_eq!(board.report(), [false, true]);
    home.folder.write("rules/house.toml", &without_lamp);
    says(&mut daemon, "on yard/2 is gone");
    let answer = home.ask(&["apply"]);
    assert!(answer.code == 0 && answer.out.contains("runs now"), "{answer:?}");
    // A relay without a load is opened.
    board.expect(OFF);
    alarms.expect(|message| message.payload.is_empty(), TEN_SECONDS);
}

#[test]
fn a_watched_change_that_lets_a_latched_trip_go_waits_for_a_person() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    let trip = "\n[rule.far-too-hot]\nload = \"fan\"\ndemand = \"off\"\npriority = 2\nreset = \"manual\"\n\
                while = { sensor = \"sunroom-air\", cut_in = \">= 40\", cut_out = \"<= 35\" }\n";
    home.folder.write("rules/house.toml", &format!("{HOUSE}{trip}"));
    says(&mut daemon, "runs now");
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    home.say("from/yard/reading/t1", "45");
    board.expect(OFF);
    home.say("from/yard/reading/t1", "30");
    home.folder.write("rules/house.toml", &format!("{HOUSE}{}", trip.replace("far-too-hot", "much-too-hot")));
    says(
        &mut daemon,
        "safety trip \"far-too-hot\" of load \"fan\" has tripped and would let go unseen (look at it and `standfast reset fan` first)",
    );
    assert_eq!(board.report(), OFF, "it stays until somebody has looked");
    // Whoever takes it all the same is told what let go, and so is whoever reads the journal.
    let let_go = "safety trip far-too-hot of fan had tripped and let go";
    let applied = home.ask(&["apply"]).out;
    assert!(applied.contains("runs now; ") && applied.contains(let_go), "{applied}");
    board.expect(ON);
    assert_eq!(home.ask(&["log"]).out.matches("had tripped and let go").count(), 1);
}

#[test]
fn in_a_work_tree_only_what_is_committed_runs() {
    let broker = Broker::start();
    let home = Home::new(broker.port(), "");
    home.under_git();
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "27.2");
    home.save_with(THRESHOLD, LOWER);
    let answer = home.ask(&["apply"]);
    assert!(answer.out.contains("runs already; what is saved and not committed is not in it"), "{answer:?}");
    assert_eq!(board.report(), OFF);
    let left_out = "what is saved and not committed is not in it";
    let status = home.ask(&["status"]).out;
    assert!(status.lines().nth(1).is_some_and(|line| line.contains(left_out)), "{status}");
    assert!(home.ask(&["status", "--json"]).out.contains("\"saved_not_committed\": true"));
    home.git(&["commit", "-q", "-a", "-m", "sooner"]);
    says(&mut daemon, "runs now");
    board.expect(ON);
    let head = home.git(&["rev-parse", "--short=7", "HEAD"]);
    let status = home.ask(&["status"]).out;
    assert!(status.contains(&format!("house {};", head.trim())) && !status.contains(left_out), "{head} {status}");
    assert!(home.ask(&["status", "--json"]).out.contains("\"saved_not_committed\": false"));
}

#[test]
fn on_command_only_a_command_or_a_hang_up_takes_a_change() {
    let broker = Broker::start();
    let home = Home::new(broker.port(), "apply = \"command\"");
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "27.2");
    home.save_with(THRESHOLD, LOWER);
    assert_eq!(board.report(), OFF);
    assert!(home.ask(&["apply"]).out.contains("runs now"));
    says(&mut daemon, "runs now");
    board.expect(ON);
    home.folder.write("rules/house.toml", HOUSE);
    daemon.signal(rustix::process::Signal::HUP);
    says(&mut daemon, "runs now");
    let told = daemon.transcript().lines().filter(|line| line.contains("runs now")).count();
    assert_eq!(told, 2, "each once: {}", daemon.transcript());
    // One that changes nothing is answered to whoever sent the signal.
    daemon.signal(rustix::process::Signal::HUP);
    says(&mut daemon, "runs already");
    home.folder.write("rules/house.toml", "nonsense");
    let answer = home.ask(&["apply"]);
    assert_eq!(answer.code, 1);
    assert!(answer.err.contains("house.toml") && answer.err.contains("the one before goes on"), "{answer:?}");
}

#[test]
fn a_preview_tells_what_a_change_would_do_and_does_nothing() {
    let broker = Broker::start();
    let home = Home::new(broker.port(), "apply = \"command\"");
    let _daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "27.2");
    assert_eq!(board.report(), OFF);
    let nothing = home.ask(&["apply", "--preview"]);
    assert!(nothing.code == 0 && nothing.out.contains("runs already"), "{nothing:?}");
    home.folder.write(
        "rules/house.toml",
        &HOUSE
            .replace(THRESHOLD, LOWER)
            .replace("[load.lamp]\nrelay = \"yard/2\"\nkind = \"led\"\nhold_for = \"1h\"\n", ""),
    );
    let preview = home.ask(&["apply", "--preview"]);
    let parts =
        ["would take the place of", "lamp", "on yard/2 is gone", "fan (yard/1) would go on at once: rule fan-when-hot"];
    for part in parts {
        assert!(preview.code == 0 && preview.out.contains(part), "{part}: {preview:?}");
    }
    assert_eq!(board.report(), OFF);
    home.folder.write("rules/house.toml", "nonsense");
    let wrong = home.ask(&["apply", "--preview"]);
    assert!(wrong.code == 1 && wrong.err.contains("has no [site]"), "{wrong:?}");
    assert!(!home.ask(&["status"]).out.contains("alarm house"), "a preview raises no alarm");
}

/// A checkout that was broken off leaves files of two versions and git's lock behind.
#[test]
fn a_checkout_that_is_half_done_changes_nothing_until_it_is_committed() {
    let broker = Broker::start();
    let home = Home::new(broker.port(), "");
    let (site, rest) = HOUSE.split_once("[board.yard]").expect("it is there");
    home.folder.write("rules/house.toml", site);
    home.folder.write("rules/yard.toml", &format!("[board.yard]{rest}"));
    home.under_git();
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "27.2");
    assert_eq!(board.report(), OFF);
    home.folder.write("rules/.git/index.lock", "");
    home.folder.write("rules/yard.toml", &format!("[board.yard]{}", rest.replace(THRESHOLD, LOWER)));
    std::fs::remove_file(home.folder.path("rules/house.toml")).expect("removed");
    let answer = home.ask(&["apply"]);
    assert!(answer.code == 0 && answer.out.contains("runs already"), "{answer:?}");
    assert_eq!(board.report(), OFF);
    std::fs::remove_file(home.folder.path("rules/.git/index.lock")).expect("removed");
    home.git(&["checkout", "-q", "--", "house.toml"]);
    home.git(&["commit", "-q", "-a", "-m", "sooner"]);
    says(&mut daemon, "runs now");
    board.expect(ON);
}

/// All of it is taken out with one commit, which is a house without anything: it never runs.
#[test]
fn a_house_that_was_emptied_by_a_commit_changes_nothing() {
    let broker = Broker::start();
    let home = Home::new(broker.port(), "");
    home.under_git();
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    home.git(&["rm", "-q", "house.toml"]);
    home.git(&["commit", "-q", "-m", "all gone"]);
    says(&mut daemon, "the house has errors, so the one before goes on");
    assert_eq!(board.report(), ON);
    home.say("from/yard/reading/t1", "20");
    board.expect(OFF);
}

/// A site and a board without a load are a house without errors.
#[test]
fn a_house_that_was_emptied_of_its_loads_waits_for_a_person() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let _daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    let mut alarms = home.listen("standfast/alarm/house-waits");
    let (without, _) = HOUSE.split_once("[load.fan]").expect("it is there");
    home.folder.write("rules/house.toml", without);
    let alarm = alarms.next(TEN_SECONDS).expect("an alarm").payload;
    assert!(alarm.contains("waits for `standfast apply`: no load is left"), "{alarm}");
    assert_eq!(board.report(), ON);
    let preview = home.ask(&["apply", "--preview"]).out;
    assert!(preview.contains("yard/1 would be opened at once: no load is on this relay any more"), "{preview}");
    assert_eq!(board.report(), ON);
    assert_eq!(home.ask(&["apply"]).code, 0);
    board.expect(OFF);
}

#[test]
fn a_load_that_is_renamed_while_it_is_on_stays_on_and_one_that_moves_is_opened_where_it_was() {
    let broker = Broker::start();
    let home = Home::on_save(broker.port());
    let mut daemon = home.run();
    let mut board = home.live_board();
    home.say("from/yard/reading/t1", "30");
    board.expect(ON);
    let renamed = HOUSE.replace("load.fan", "load.vent").replace("load = \"fan\"", "load = \"vent\"");
    home.folder.write("rules/house.toml", &renamed);
    says(&mut daemon, "waits for `standfast apply`");
    assert_eq!(board.report(), ON);
    assert_eq!(home.ask(&["apply"]).code, 0);
    for _ in 0..2 {
        assert_eq!(board.report(), ON, "the relay is the same");
    }
    let lamp = "[load.lamp]\nrelay = \"yard/2\"\nkind = \"led\"\nhold_for = \"1h\"\n";
    let moved = renamed.replace(lamp, "").replace("\"yard/1\"", "\"yard/2\"");
    home.folder.write("rules/house.toml", &moved);
    says(&mut daemon, "waits for `standfast apply`");
    assert_eq!(board.report(), ON);
    assert_eq!(home.ask(&["apply"]).code, 0);
    // What it was on is opened before anything else is made of it.
    board.expect([false, true]);
    assert_eq!(board.report(), [false, true]);
    let status = home.ask(&["status"]).out;
    assert!(status.contains("vent: on since "), "{status}");
}
