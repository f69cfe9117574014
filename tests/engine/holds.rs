//! Holds: every way to say an end, what ends them, and what they answer.

use standfast::engine::{Answer, HoldEndReason, JournalEntry};
use standfast::house::State::{Off, On};

use crate::bench::Bench;

const HOUSE: &str = r#"
[input.ask]
at = "yard/ask"
[load.lamp]
relay = "yard/1"
kind = "led"
[load.other]
relay = "yard/2"
kind = "led"
hold_for = "20m"
[rule.lit]
load = "lamp"
demand = "on"
while = { input = "ask", is = "on" }
"#;

fn bench() -> Bench {
    let mut bench = Bench::new(HOUSE);
    bench.relays("yard", "off:9000:0:0 off:9000:0:0 off off");
    bench.from("yard/input/ask", "off");
    bench.run_for("31s");
    bench
}

/// The clock of the house when a hold is over, and why, to the minute.
fn end_of(bench: &mut Bench, load: &str) -> (String, HoldEndReason) {
    for _ in 0..40_000 {
        let ended = bench.journal.iter().find_map(|row| match &row.entry {
            JournalEntry::HoldEnded { load: of, why } if of == load => Some((row.at, *why)),
            _ => None,
        });
        if let Some((at, why)) = ended {
            let zone = bench.engine.house().site.zone.clone();
            return (at.instant().to_zoned_datetime(zone).strftime("%d %H:%M").to_string(), why);
        }
        bench.run_for("1m");
    }
    panic!("the hold on {load} never ends");
}

fn check(words: &str, expected_end: &str) {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    let answer = bench.hold("other", words);
    assert!(matches!(answer, Answer::Held { .. }), "{words}: {answer:?}");
    let (end, why) = end_of(&mut bench, "other");
    assert_eq!((end.as_str(), why), (expected_end, HoldEndReason::TimeUp), "{words}");
}

#[test]
fn a_hold_lasts_for_a_duration() {
    check("on 2h", "01 14:00");
    check("off 1h30m", "01 13:30");
    check("on 3d", "04 12:00");
    check("on 90s", "01 12:01");
}

#[test]
fn a_hold_lasts_until_a_clock_time_today_or_tomorrow() {
    check("on until 22:30", "01 22:30");
    check("on until 06:15", "02 06:15");
    check("off until 12:00", "02 12:00");
}

/// Sunset at 54.60 N 3.14 W on 2026-06-01 by the NOAA solar calculator's algorithm, from memory to the minute: about 21:37
/// BST; the sun's own tests hold it against NREL SPA, here only the order of magnitude matters.
#[test]
fn a_hold_lasts_until_an_event_of_the_sun() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.hold("other", "on until sunset");
    let (end, _) = end_of(&mut bench, "other");
    assert!(("01 21:30".."01 21:45").contains(&end.as_str()), "{end}");
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.hold("other", "on until sunrise + 30m");
    let (end, _) = end_of(&mut bench, "other");
    assert!(("02 05:05".."02 05:20").contains(&end.as_str()), "{end}");
}

#[test]
fn a_hold_without_words_lasts_as_the_load_says() {
    check("on", "01 12:20");
}

#[test]
fn a_load_that_says_nothing_is_held_until_the_next_change() {
    let mut bench = bench();
    bench.hold("lamp", "on");
    bench.run_for("3h");
    assert_eq!(bench.wanted("lamp"), On);
    bench.from("yard/input/ask", "on");
    bench.relays("yard", "on off off off");
    let (_, why) = end_of(&mut bench, "lamp");
    assert_eq!(why, HoldEndReason::RulesChanged);
    assert_eq!((bench.wanted("lamp"), bench.explain("lamp").slot), (On, Some(16)));
}

#[test]
fn until_the_next_change_ends_when_the_rules_change_to_the_other_answer() {
    let mut bench = bench();
    bench.from("yard/input/ask", "on");
    bench.hold("lamp", "off until next change");
    assert_eq!(bench.wanted("lamp"), Off);
    bench.from("yard/input/ask", "off");
    assert_eq!(bench.explain("lamp").hold, None);
    bench.from("yard/input/ask", "on");
    assert_eq!(bench.wanted("lamp"), On, "and it is gone for good");
}

#[test]
fn an_unknown_answer_is_no_change() {
    let mut bench = bench();
    bench.from("yard/input/ask", "on");
    bench.hold("lamp", "off until next change");
    bench.from("yard/life", "birth 18 power-on");
    assert!(bench.explain("lamp").hold.is_some(), "the contact is unknown");
    bench.from("yard/report", "18 1 0 off off off off");
    bench.from("yard/input/ask", "on");
    assert!(bench.explain("lamp").hold.is_some(), "and known again to be what it was");
    bench.from("yard/input/ask", "off");
    assert_eq!(bench.explain("lamp").hold, None);
}

#[test]
fn until_the_next_change_lasts_a_day_at_most() {
    let mut bench = Bench::at("2026-06-01 12:00", HOUSE);
    bench.hold("other", "on until next change");
    let (end, why) = end_of(&mut bench, "other");
    assert_eq!((end.as_str(), why), ("02 12:00", HoldEndReason::TimeUp));
}

#[test]
fn a_trip_is_no_change_of_the_rules() {
    let text = format!(
        "{HOUSE}[input.trip]\nat = \"yard/trip\"\n[rule.trip]\nload = \"lamp\"\ndemand = \"off\"\npriority = 2\nwhile = {{ input = \"trip\", is = \"on\" }}\n"
    );
    let mut bench = Bench::new(&text);
    bench.relays("yard", "off off off off");
    bench.from("yard/input/ask", "off");
    bench.from("yard/input/trip", "off");
    bench.hold("lamp", "on");
    bench.from("yard/input/trip", "on");
    assert_eq!(bench.wanted("lamp"), Off);
    bench.from("yard/input/trip", "off");
    assert_eq!(bench.wanted("lamp"), On, "slots 9 to 16 say what they said");
}

#[test]
fn a_hold_answers_with_its_end() {
    let mut bench = bench();
    let now = bench.now.wall.0;
    assert_eq!(
        bench.hold("lamp", "on 2h"),
        Answer::Held { load: bench.load("lamp"), state: On, until: Some(standfast::units::WallTime(now + 7_200_000)) }
    );
    assert_eq!(
        bench.hold("lamp", "off until next change"),
        Answer::Held { load: bench.load("lamp"), state: Off, until: None }
    );
}

#[test]
fn while_the_clock_is_not_trusted_an_end_by_the_clock_or_the_sun_is_refused_with_advice() {
    let mut bench = bench();
    bench.trust(false);
    for words in ["on until 22:00", "on until sunset", "off until dawn - 10m"] {
        let Answer::Refused(why) = bench.hold("lamp", words) else { panic!("{words} is taken") };
        assert!(why.contains("not trusted") && why.contains("\"2h\""), "{why}");
        assert_eq!(bench.explain("lamp").hold, None);
    }
    assert!(matches!(bench.hold("lamp", "on 2h"), Answer::Held { .. }));
    assert!(matches!(bench.hold("lamp", "on until next change"), Answer::Held { .. }));
}

#[test]
fn an_event_that_does_not_come_is_refused() {
    let north = format!("[site]\nposition = [90.0, 0.0]\nzone = \"UTC\"\n{HOUSE}");
    let mut bench = Bench::new(&north);
    // The sun is up all summer at the pole and rises in March.
    let answer = bench.hold("lamp", "on until sunset");
    if let Answer::Held { until, .. } = answer {
        let days = (until.expect("an end").0 - bench.now.wall.0) / 86_400_000;
        assert!((90..130).contains(&days), "in {days} days");
    }
}

#[test]
fn a_release_ends_it_and_one_without_a_hold_does_nothing() {
    let mut bench = bench();
    bench.hold("lamp", "on 2h");
    assert_eq!(bench.hold("lamp", "release"), Answer::Done);
    assert_eq!((bench.wanted("lamp"), bench.explain("lamp").slot), (Off, None));
    assert_eq!(bench.hold("lamp", "release"), Answer::Nothing);
}

#[test]
fn a_second_hold_replaces_the_first_and_its_end_is_the_end() {
    let mut bench = bench();
    bench.hold("lamp", "on until 12:30");
    bench.hold("lamp", "on 2h");
    bench.take_journal();
    bench.run_for("1h59m");
    assert_eq!(bench.wanted("lamp"), On, "the first one's end is forgotten");
    bench.run_for("1m");
    assert_eq!(bench.wanted("lamp"), Off);
}

#[test]
fn a_shorter_second_hold_ends_sooner() {
    let mut bench = bench();
    bench.hold("lamp", "on 2h");
    bench.hold("lamp", "on 5m");
    bench.run_for("5m");
    assert_eq!(bench.explain("lamp").hold, None);
}

#[test]
fn a_withdrawn_load_refuses_holds_and_says_what_to_do() {
    let mut bench = bench();
    bench.withdraw("lamp", "glass");
    let Answer::Refused(why) = bench.hold("lamp", "on 1h") else { panic!("it is taken") };
    assert!(why.contains("withdrawn") && why.contains("restore"), "{why}");
}

#[test]
fn withdrawing_ends_the_hold_so_that_nobody_is_surprised_when_it_is_restored() {
    let mut bench = bench();
    bench.hold("lamp", "on 2h");
    assert_eq!(bench.withdraw("lamp", "glass"), Answer::Done);
    assert_eq!(bench.restore("lamp"), Answer::Done);
    assert_eq!((bench.wanted("lamp"), bench.explain("lamp").hold), (Off, None));
}

#[test]
fn withdrawn_is_off_even_if_safe_and_resting_are_on() {
    let text = HOUSE.replace("[load.lamp]", "[load.lamp]\nsafe = \"on\"\nresting = \"on\"");
    let mut bench = Bench::played(&text);
    assert!(bench.runs("lamp"));
    bench.withdraw("lamp", "");
    bench.run_for("1s");
    assert!(!bench.runs("lamp"));
    bench.unplug("yard");
    bench.run_for("10m");
    assert!(!bench.runs("lamp"), "nor when the lease has run out");
}

#[test]
fn withdrawing_or_restoring_twice_does_nothing_the_second_time() {
    let mut bench = bench();
    assert_eq!(bench.restore("lamp"), Answer::Nothing);
    assert_eq!(bench.withdraw("lamp", "one"), Answer::Done);
    assert_eq!(bench.withdraw("lamp", "one"), Answer::Nothing);
    assert_eq!(bench.withdraw("lamp", ""), Answer::Nothing, "no reason takes none away");
    assert!(bench.why("lamp").contains("withdrawn (one)"));
    assert_eq!(bench.restore("lamp"), Answer::Done);
    assert_eq!(bench.restore("lamp"), Answer::Nothing);
}

#[test]
fn another_reason_for_a_withdrawn_load_takes_the_place_of_the_first_and_is_written_down() {
    let mut bench = bench();
    bench.withdraw("lamp", "glass broken");
    bench.take_journal();
    let stays = Answer::StaysWithdrawn { load: bench.load("lamp") };
    assert_eq!(bench.withdraw("lamp", "the wire behind it is bare"), stays);
    let row = r#"{"entry":"withdrawn","load":"lamp","why":"the wire behind it is bare","by":{"kind":"command","name":"morag"},"stays":true}"#;
    assert_eq!(bench.take_journal(), [row]);
    assert_eq!(bench.why("lamp"), "lamp: off, withdrawn (the wire behind it is bare); this is no isolation");
    bench.restart(HOUSE, "1m", true, true);
    assert!(bench.why("lamp").contains("the wire behind it is bare"), "{}", bench.why("lamp"));
    assert_eq!(bench.restore("lamp"), Answer::Done);
}

#[test]
fn the_fallback_of_a_withdrawn_load_is_the_word_that_puts_it_off_and_deaf() {
    let text = r#"
[load.lamp]
relay = "yard/1"
kind = "led"
safe = "on"
[load.flap]
relay = "yard/2"
contact = "NC"
kind = "solenoid"
safe = "on"
[load.fan]
relay = "yard/3"
kind = "motor"
"#;
    let mut bench = Bench::new(text);
    assert_eq!(bench.fallbacks["yard"].encode(), "90 on off off off");
    for load in ["lamp", "flap", "fan"] {
        bench.withdraw(load, "");
    }
    assert_eq!(bench.fallbacks["yard"].encode(), "90 off! on! off! off");
    bench.restore("flap");
    assert_eq!(bench.fallbacks["yard"].encode(), "90 off! off off! off");
}

#[test]
fn a_board_without_a_lease_falls_back_to_nothing_but_a_withdrawal_still_counts() {
    let text = format!("[board.yard]\nrelays = 4\nlease = \"none\"\n{HOUSE}");
    let mut bench = Bench::new(&text);
    assert_eq!(bench.fallbacks["yard"].encode(), "0 keep keep off off");
    bench.withdraw("lamp", "");
    assert_eq!(bench.fallbacks["yard"].encode(), "0 off! keep off off");
}

#[test]
fn holds_and_withdrawals_are_stored_at_once_and_journaled() {
    use standfast::engine::Effect;
    let mut bench = bench();
    for (act, row) in [("on 1h", "held"), ("release", "hold-ended")] {
        bench.take_journal();
        bench.hold("lamp", act);
        assert!(bench.effects.contains(&Effect::Save), "{act}");
        assert!(bench.take_journal().iter().any(|one| one.contains(row)), "{act}");
    }
    bench.withdraw("lamp", "glass");
    assert!(bench.effects.contains(&Effect::Save));
    assert_eq!(
        bench.take_journal(),
        [r#"{"entry":"withdrawn","load":"lamp","why":"glass","by":{"kind":"command","name":"morag"}}"#]
    );
    bench.restore("lamp");
    assert_eq!(bench.take_journal(), [r#"{"entry":"restored","load":"lamp","by":{"kind":"command","name":"morag"}}"#]);
}

#[test]
fn orders_go_out_before_the_answer_and_the_answer_before_the_save() {
    use standfast::engine::Effect;
    let mut bench = bench();
    bench.hold("lamp", "on 1h");
    let place = |wanted: fn(&Effect) -> bool| bench.effects.iter().position(wanted).expect("it is there");
    let save = place(|effect| matches!(effect, Effect::Save));
    assert!(place(|effect| matches!(effect, Effect::SendOrders { .. })) < save, "orders never wait for disk");
    assert!(place(|effect| matches!(effect, Effect::Answer { .. })) < save);
}

#[test]
fn a_retained_hold_and_garbage_hold_nothing() {
    let mut bench = bench();
    bench.message("standfast/hold/lamp", "on 2h", true);
    bench.message("standfast/hold/lamp", "up 2h", false);
    bench.message("standfast/hold/no-such-load", "on 2h", false);
    bench.message("standfast/hold/lamp", "on for ever", false);
    assert_eq!(bench.explain("lamp").hold, None);
    assert!(bench.answers.is_empty());
}

/// Two clocks are read one after the other, and a machine's wall clock is slewed all day.
#[test]
fn an_end_by_the_clock_is_shown_as_it_was_said_unless_the_hold_ends_before() {
    let mut bench = bench();
    let Answer::Held { until: Some(said), .. } = bench.hold("lamp", "on until 22:30") else { panic!("no end") };
    let shown = |bench: &Bench| bench.explain("lamp").hold.expect("held").until;
    bench.step_clock(-3);
    assert_eq!(shown(&bench), said);
    // Set back by an hour it ends when its time is up all the same (I5).
    bench.step_clock(-3_600_000);
    assert_eq!(said.0 - shown(&bench).0, 3_600_003);
}
