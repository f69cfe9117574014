//! Births and deaths of boards, in the order in which they may come.

use standfast::engine::Presence;
use standfast::house::State::{Off, On};

use crate::bench::Bench;

const HOUSE: &str = r#"
[input.ask]
at = "yard/ask"
[input.button]
at = "yard/button"
toggles = "lamp"
[load.lamp]
relay = "yard/1"
kind = "led"
[rule.lit]
load = "lamp"
demand = "on"
while = { input = "ask", is = "on" }
"#;

fn presence(bench: &Bench) -> Presence {
    bench.engine.presence(bench.board("yard"))
}

fn bench() -> Bench {
    let mut bench = Bench::new(HOUSE);
    bench.from("yard/life", "birth 17 power-on");
    bench.from("yard/report", "17 1 0 off:9000:0:0 off off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("31s");
    bench.from("yard/report", "17 2 1 off:9031:0:0 off off off");
    bench
}

#[test]
fn a_birth_alone_is_not_yet_a_board_that_is_heard() {
    let mut bench = Bench::new(HOUSE);
    bench.from("yard/life", "birth 17 power-on");
    assert_eq!(presence(&bench), Presence::Unheard);
    bench.from("yard/report", "17 1 0 off off off off");
    assert_eq!(presence(&bench), Presence::Present);
}

#[test]
fn a_death_loses_the_board_at_once_and_a_report_finds_it() {
    let mut bench = bench();
    bench.from("yard/life", "death 17");
    assert_eq!(presence(&bench), Presence::Lost);
    assert_eq!(bench.alarms(), ["board-yard"]);
    bench.from("yard/report", "17 3 1 off off off off");
    assert_eq!(presence(&bench), Presence::Present);
    assert!(bench.alarms().is_empty());
    let rows = bench.take_journal().join("\n");
    assert_eq!((rows.matches("board-lost").count(), rows.matches("board-found").count()), (1, 2), "{rows}");
}

#[test]
fn a_late_death_of_an_earlier_boot_does_not_lose_a_newer_one() {
    let mut bench = bench();
    bench.from("yard/life", "birth 18 watchdog");
    bench.from("yard/report", "18 1 0 off off off off");
    bench.from("yard/life", "death 17");
    assert_eq!(presence(&bench), Presence::Present);
    assert!(bench.alarms().is_empty());
}

#[test]
fn a_death_heard_twice_is_one_death() {
    let mut bench = bench();
    bench.take_journal();
    bench.from("yard/life", "death 17");
    bench.from("yard/life", "death 17");
    let rows = bench.take_journal();
    assert_eq!(rows.iter().filter(|row| row.contains("board-lost")).count(), 1, "{rows:?}");
}

#[test]
fn a_retained_death_at_the_start_says_that_the_board_is_away() {
    let mut bench = Bench::new(HOUSE);
    bench.message("standfast/from/yard/life", "death 17", true);
    assert_eq!(presence(&bench), Presence::Lost);
    assert_eq!(bench.alarms(), ["board-yard"]);
}

#[test]
fn a_late_birth_of_an_earlier_boot_changes_nothing() {
    let mut bench = bench();
    bench.from("yard/report", "17 3 1 on:9:1:1 off off off");
    bench.hold("lamp", "release");
    bench.from("yard/life", "birth 16 power-on");
    bench.from("yard/report", "17 4 2 off:9:2:1 off off off");
    assert_eq!(bench.explain("lamp").known, Some(Off));
    assert_eq!(bench.explain("lamp").hold, None, "its hand of before is no news");
}

#[test]
fn a_birth_forgets_contacts_and_counts_of_presses() {
    let mut bench = bench();
    bench.from("yard/input/ask", "on");
    bench.from("yard/input/button", "press 6");
    assert_eq!(bench.wanted("lamp"), Off);
    bench.hold("lamp", "release");
    assert_eq!(bench.wanted("lamp"), On);
    bench.from("yard/life", "birth 18 power-on");
    assert_eq!(bench.wanted("lamp"), Off, "the contact is unknown until it is said again");
    bench.from("yard/report", "18 1 0 off:1:0:0 off off off");
    bench.from("yard/input/ask", "on");
    assert_eq!(bench.wanted("lamp"), Off, "a closing after a reboot waits for its turn");
    bench.run_for("1s");
    assert_eq!(bench.wanted("lamp"), On);
    bench.from("yard/input/button", "press 1");
    assert_eq!(bench.wanted("lamp"), Off, "the first press of the new boot counts");
}

#[test]
fn what_a_load_does_is_not_known_between_a_birth_and_the_first_report() {
    let mut bench = bench();
    assert_eq!(bench.explain("lamp").known, Some(Off));
    bench.from("yard/life", "birth 18 power-on");
    assert_eq!(bench.explain("lamp").known, None);
    assert!(bench.effects.iter().any(|effect| matches!(effect, standfast::engine::Effect::PublishLoad { .. })));
}

#[test]
fn a_board_that_reboots_is_ordered_back_and_the_journal_says_why_its_contact_moved() {
    let mut bench = Bench::played(HOUSE);
    bench.happen("yard", standfast::board::Event::Contact { input: "ask", closed: true });
    bench.run_for("1s");
    assert!(bench.runs("lamp"));
    bench.take_journal();
    bench.happen("yard", standfast::board::Event::Reset { cause: standfast::wire::Word::nearest("watchdog") });
    assert!(!bench.runs("lamp"), "a reset releases");
    bench.plug("yard");
    bench.run_for("1s");
    assert!(bench.runs("lamp"));
    let rows = bench.take_journal();
    assert!(rows[0].contains("board-restarted"), "{rows:?}");
    assert!(rows[1].contains("\"rule\":\"lit\""), "{rows:?}");
}

#[test]
fn a_reset_that_only_a_report_tells_of_is_named_too() {
    let mut bench = bench();
    bench.from("yard/input/ask", "on");
    bench.from("yard/report", "17 3 2 on:1:1:0 off off off");
    bench.take_journal();
    bench.from("yard/report", "18 1 0 off:1:0:0 off off off");
    assert!(bench.take_journal()[0].contains("board-restarted"));
}

#[test]
fn a_replaced_board_that_counts_its_boots_from_one_is_taken_once_the_old_one_is_gone() {
    let mut bench = bench();
    bench.from("yard/life", "death 17");
    bench.from("yard/life", "birth 1 power-on");
    bench.from("yard/report", "1 1 0 off:3:0:0 off off off");
    assert_eq!(presence(&bench), Presence::Present);
    assert_eq!((bench.orders["yard"].boot, bench.orders["yard"].beat), (1, 1));
}

/// Be it of before what was heard last of the old one, or of after. A board that has grown as old itself announces that.
#[test]
fn a_late_report_of_a_board_that_was_replaced_is_none_of_the_new_one() {
    let mut bench = bench();
    bench.from("yard/report", "17 40 1 off:9100:0:0 off off off");
    bench.from("yard/life", "death 17");
    bench.from("yard/life", "birth 1 power-on");
    bench.from("yard/report", "1 1 0 on:3:1:1 off off off");
    assert_eq!(bench.explain("lamp").known, Some(On));
    for (beat, seconds) in [(39, 9085), (41, 9115)] {
        bench.from("yard/report", &format!("17 {beat} 1 off:{seconds}:0:0 off off off"));
        assert_eq!(bench.explain("lamp").known, Some(On));
        assert_eq!(bench.orders["yard"].boot, 1);
    }
    bench.from("yard/life", "birth 17 power-on");
    assert_eq!(bench.explain("lamp").known, Some(On), "its birth may be late as well");
    bench.from("yard/report", "1 2 2 on:33:1:1 off off off");
    bench.from("yard/report", "17 42 1 off:9130:0:0 off off off");
    assert_eq!(bench.explain("lamp").known, Some(On));
    bench.from("yard/life", "birth 17 power-on");
    bench.from("yard/report", "17 1 0 off:1:0:0 off off off");
    assert_eq!((bench.orders["yard"].boot, bench.explain("lamp").known), (17, Some(Off)));
}

#[test]
fn a_replaced_board_is_taken_even_if_its_birth_came_before_the_old_one_was_missed() {
    let mut bench = bench();
    bench.from("yard/life", "birth 1 power-on");
    for beat in 1..8 {
        bench.from("yard/report", &format!("1 {beat} 0 off:3:0:0 off off off"));
        bench.run_for("22500ms");
    }
    assert_eq!(presence(&bench), Presence::Present);
    assert_eq!(bench.orders["yard"].boot, 1);
}

#[test]
fn a_late_report_of_an_earlier_boot_does_not_find_a_lost_board() {
    let mut bench = bench();
    bench.from("yard/life", "death 17");
    bench.from("yard/report", "16 400 1 on off off off");
    assert_eq!(presence(&bench), Presence::Lost);
}

#[test]
fn presses_that_came_twice_or_late_count_once() {
    let mut bench = bench();
    bench.from("yard/input/button", "press 6");
    assert_eq!(bench.wanted("lamp"), On);
    for late in ["press 6", "press 5", "press 1"] {
        bench.from("yard/input/button", late);
        assert_eq!(bench.wanted("lamp"), On, "{late}");
    }
    bench.from("yard/input/button", "press 9");
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn presses_are_never_acted_on_twice_across_a_restart() {
    let mut bench = bench();
    bench.from("yard/input/button", "press 6");
    bench.restart(HOUSE, "5s", true, true);
    bench.from("yard/report", "17 9 2 on:6:1:0 off off off");
    bench.from("yard/input/button", "press 6");
    assert_eq!(bench.wanted("lamp"), On);
    bench.from("yard/input/button", "press 7");
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn a_remote_is_known_by_its_code_whatever_the_case_and_repeats_count_once() {
    let text = format!(
        "{HOUSE}
[input.red]
at = \"yard/ir\"
code = \"20DF40BF\"
holds = \"lamp on\"
[input.green]
at = \"yard/ir\"
code = \"20DF8877\"
releases = \"lamp\"
"
    );
    let mut bench = Bench::new(&text);
    bench.from("yard/report", "17 1 0 off:9000:0:0 off off off");
    bench.from("yard/input/ask", "off");
    bench.from("yard/input/ir", "20df40bf 1");
    assert_eq!((bench.wanted("lamp"), bench.explain("lamp").slot), (On, Some(8)));
    bench.from("yard/input/ir", "20DF8877 1");
    assert_eq!(bench.wanted("lamp"), On, "that count was used: the message is a doubled one");
    bench.from("yard/input/ir", "20DF8877 2");
    assert_eq!((bench.wanted("lamp"), bench.explain("lamp").slot), (Off, None));
    bench.from("yard/input/ir", "FFFFFFFF 3");
    assert_eq!(bench.wanted("lamp"), Off);
}
