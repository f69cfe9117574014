//! What holds for any house and anything that happens to it.

use proptest::prelude::*;
use standfast::engine::{By, Effect, Engine, Event, Hand, HandOrder, Now, Settings, Snapshot};
use standfast::house::{BoardId, House, LoadId, PortId, SensorId, State, Term};
use standfast::units::{BootTime, Finite, Span, WallTime};
use standfast::wire::{InputWord, Life, RelayReport, Report, Word};
use std::sync::Arc;

use crate::bench::{Bench, house};
use crate::random::{
    Act, LOADS, act, any_house_text, calm_act, house_text, limited_house_text, proved_house_text, steady_act,
};

fn played(text: &str) -> Bench {
    let mut bench = Bench::new(text);
    bench.play_all();
    bench
}

/// What a person would see of every load, alarms included.
fn picture(bench: &Bench) -> Vec<String> {
    let mut lines: Vec<String> = (0..LOADS).map(|load| format!("{:?}", seen(bench, load))).collect();
    lines.push(format!("{:?}", bench.alarms()));
    lines
}

fn seen(bench: &Bench, load: usize) -> (State, Option<State>, Option<u8>, Option<i64>) {
    let explanation = bench.explain(&format!("l{load}"));
    (explanation.wanted, explanation.known, explanation.slot, explanation.hold.map(|hold| hold.until.0))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    /// I8: same build, same events, same effects, bit for bit.
    #[test]
    fn same_events_have_same_effects(text in any_house_text(), acts in prop::collection::vec(act(), 1..40)) {
        let (mut one, mut two) = (played(&text), played(&text));
        for act in &acts {
            act.happen(&mut one);
            act.happen(&mut two);
            prop_assert_eq!(&one.effects, &two.effects);
            prop_assert_eq!(one.engine.next_deadline(), two.engine.next_deadline());
        }
        prop_assert_eq!(&one.journal, &two.journal);
        prop_assert_eq!(&one.orders, &two.orders);
        prop_assert!(one.engine.snapshot() == two.engine.snapshot());
    }

    /// A deadline names everything that happens by itself: whoever wakes the engine more often sees nothing sooner.
    #[test]
    fn waking_more_often_changes_nothing(text in any_house_text(), acts in prop::collection::vec(act(), 1..25)) {
        let (mut rarely, mut often) = (played(&text), played(&text));
        for act in &acts {
            act.happen(&mut rarely);
            match act {
                Act::Wait(seconds) => {
                    (0..*seconds).for_each(|_| often.run_for("1s"));
                    often.run_for("100ms");
                }
                act => act.happen(&mut often),
            }
            prop_assert_eq!(picture(&rarely), picture(&often));
        }
        prop_assert_eq!(rarely.take_journal(), often.take_journal());
    }

    /// What is stored is what is read back, to the last bit.
    #[test]
    fn a_snapshot_survives_its_json_form(text in any_house_text(), acts in prop::collection::vec(act(), 1..30), odd in any::<f64>()) {
        let mut bench = played(&text);
        acts.iter().for_each(|act| act.happen(&mut bench));
        if (-50.0..50.0).contains(&odd) {
            bench.reading("s0", odd);
        }
        let snapshot = bench.engine.snapshot();
        let stored = serde_json::to_string(&snapshot).expect("JSON");
        let back: Snapshot = serde_json::from_str(&stored).expect("what was stored is read back");
        prop_assert!(back == snapshot, "{}", stored);
        prop_assert_eq!(serde_json::to_string(&back).expect("JSON"), stored);
    }

    /// Restoring at once, in the same boot, and hearing the boards again: while loads settle, each stays as it was or
    /// follows what would have been, and afterwards all is as if nothing had happened.
    #[test]
    fn snapshot_and_restore_change_nothing(text in house_text(), acts in prop::collection::vec(calm_act(), 1..30)) {
        let (mut bench, mut twin) = (played(&text), played(&text));
        for bench in [&mut bench, &mut twin] {
            bench.run_for("3m");
            acts.iter().for_each(|act| act.happen(bench));
        }
        prop_assert_eq!(picture(&bench), picture(&twin));
        let runs = |bench: &Bench| -> Vec<bool> { (0..LOADS).map(|load| bench.runs(&format!("l{load}"))).collect() };
        let mut seen = vec![runs(&twin)];
        bench.restart(&text, "0s", true, true);
        for _ in 0..40 {
            bench.run_for("1s");
            twin.run_for("1s");
            seen.push(runs(&twin));
            for (load, now) in runs(&bench).into_iter().enumerate() {
                let name = format!("l{load}");
                prop_assert!(seen.iter().any(|runs| runs[load] == now), "{} but {}", bench.why(&name), twin.why(&name));
            }
        }
        bench.run_for("5m");
        twin.run_for("5m");
        prop_assert_eq!(picture(&bench), picture(&twin));
    }

    /// Taking the same house again changes nothing but order numbers, as long as boards obey: those that do not are told
    /// at once instead of with their next report.
    #[test]
    fn a_reload_of_the_same_house_changes_nothing(text in house_text(), acts in prop::collection::vec(steady_act(), 1..30), at in 0..30_usize) {
        let (mut bench, mut twin) = (played(&text), played(&text));
        for (number, act) in acts.iter().enumerate() {
            if number == at {
                bench.reload(&text);
                bench.run_for("50ms");
                twin.run_for("50ms");
            }
            act.happen(&mut bench);
            act.happen(&mut twin);
            prop_assert_eq!(picture(&bench), picture(&twin), "after {:?}", act);
        }
    }

    /// The lowest set slot wins: nothing that an explanation names beside the deciding rule stands above it.
    #[test]
    fn nothing_stands_above_what_decides(text in any_house_text(), acts in prop::collection::vec(act(), 1..30)) {
        let mut bench = played(&text);
        bench.run_for("31s");
        for act in &acts {
            act.happen(&mut bench);
            for load in 0..LOADS {
                let explanation = bench.explain(&format!("l{load}"));
                let Some(slot) = explanation.slot else { continue };
                let above = explanation.others.iter().find(|rule| rule.priority < slot);
                prop_assert!(above.is_none(), "slot {} decides, yet {:?}", slot, above);
            }
        }
    }

    /// I1: two members of an interlock are never closed together, whatever gets lost, late or cut off.
    #[test]
    fn members_of_an_interlock_are_never_closed_together(text in prop_oneof![limited_house_text(), proved_house_text()], acts in prop::collection::vec(act(), 1..40)) {
        let mut bench = played(&text);
        bench.never_together = vec!["a/2", "b/3"];
        for act in &acts {
            act.happen(&mut bench);
        }
    }

    /// When everything is there again, each load is what its array says within a lease and its minimum times (I12).
    #[test]
    fn faults_over_all_is_as_it_should_be(text in house_text(), acts in prop::collection::vec(act(), 1..30)) {
        let mut bench = played(&text);
        acts.iter().for_each(|act| act.happen(&mut bench));
        bench.link_up();
        bench.trust(true);
        for a in [true, false] {
            for act in [Act::LoseOrders(a, false), Act::LoseReports(a, false), Act::Power(a, true), Act::Plug(a, true)] {
                act.happen(&mut bench);
            }
        }
        let measure = |bench: &mut Bench| (0..3).for_each(|sensor| Act::Measure(sensor, 12).happen(bench));
        for _ in 0..7 {
            measure(&mut bench);
            bench.run_for("1m");
        }
        for load in 0..LOADS {
            let name = format!("l{load}");
            let explanation = bench.explain(&name);
            prop_assert_eq!(explanation.known, Some(explanation.wanted), "{}", bench.why(&name));
            prop_assert_eq!(bench.runs(&name), explanation.wanted == State::On);
        }
    }
}

/// An event with ids of the drawn house and everything else as it comes.
fn event() -> impl Strategy<Value = Event> {
    let relay = (any::<bool>(), any::<Option<u32>>(), any::<Option<u32>>(), any::<Option<u32>>())
        .prop_map(|(energised, seconds, changes, hands)| RelayReport { energised, seconds, changes, hands });
    let small = prop_oneof![3 => 1..6_u32, 1 => any::<u32>()];
    let report = (0..2_u32, small.clone(), small.clone(), small.clone(), prop::collection::vec(relay, 1..6));
    let term = prop_oneof![
        Just(None),
        Just(Some("next change")),
        Just(Some("until 22:00")),
        Just(Some("until sunset - 3h")),
        Just(Some("366d")),
        Just(Some("1ms")),
    ]
    .prop_map(|term: Option<&str>| term.and_then(|term| Term::parse(term).ok()));
    let load = (0..LOADS as u32).prop_map(LoadId);
    let order = prop_oneof![
        (load.clone(), any::<bool>(), term).prop_map(|(load, on, term)| {
            HandOrder::Hold { load, state: if on { State::On } else { State::Off }, term }
        }),
        load.clone().prop_map(|load| HandOrder::Release { load }),
        load.clone().prop_map(|load| HandOrder::Withdraw { load, why: String::new() }),
        load.prop_map(|load| HandOrder::Restore { load, why: String::new() }),
        Just(HandOrder::Acknowledge { alarm: "board-a".to_owned() }),
    ];
    prop_oneof![
        2 => Just(Event::Woken),
        1 => Just(Event::LinkUp),
        1 => Just(Event::LinkDown),
        1 => (0..2_u32, small.clone(), any::<bool>()).prop_map(|(board, boot, birth)| {
            let cause = Word::nearest("drawn");
            let life = if birth { Life::Birth { boot, cause } } else { Life::Death { boot } };
            Event::Life { board: BoardId(board), life }
        }),
        6 => report.prop_map(|(board, boot, beat, taken, mut relays)| {
            if beat % 5 != 0 {
                // Mostly as many as the board has.
                relays.resize(if board == 0 { 4 } else { 3 }, RelayReport::default());
            }
            Event::Report { board: BoardId(board), report: Report { boot, beat, taken, relays } }
        }),
        3 => (0..3_u32, any::<f64>()).prop_map(|(sensor, value)| {
            let value = Finite::new(value).unwrap_or_default();
            Event::Reading { sensor: SensorId(sensor), value }
        }),
        1 => (0..3_u32).prop_map(|sensor| Event::ReadingRefused { sensor: SensorId(sensor) }),
        2 => (0..5_u32, 0..4_u32, any::<u32>()).prop_map(|(port, kind, count)| {
            let word = match kind {
                0 => InputWord::On,
                1 => InputWord::Off,
                _ => InputWord::Press { count },
            };
            Event::Input { port: PortId(port), word }
        }),
        2 => order.prop_map(|order| Event::Hand(Hand { token: 1, by: By::Message, order })),
        1 => any::<Option<u8>>().prop_map(|text| Event::Alarm {
            id: "drawn".to_owned(),
            text: text.map(|text| text.to_string()),
        }),
    ]
}

/// Times that mostly go on and sometimes are absurd.
fn time() -> impl Strategy<Value = (u64, i64, bool)> {
    prop_oneof![
        20 => (0..60_000_u64).prop_map(|ms| (ms, ms as i64, true)),
        2 => (0..60_000_u64, any::<i32>()).prop_map(|(ms, step)| (ms, i64::from(step) * 1000, true)),
        1 => (0..60_000_u64).prop_map(|ms| (ms, ms as i64, false)),
        1 => any::<(u64, i64, bool)>(),
    ]
}

fn run_raw(house: &Arc<House>, steps: &[((u64, i64, bool), Event)]) -> Result<Vec<Effect>, TestCaseError> {
    let mut now = Now { boot: BootTime(500_000), wall: WallTime(1_780_000_000_000), trusted: true };
    let settings = Settings { settle: Span::from_s(30) };
    let mut engine = Engine::new(house.clone(), settings, now);
    let mut out = Vec::new();
    for (number, ((boot, wall, trusted), event)) in steps.iter().enumerate() {
        now = Now {
            boot: BootTime(now.boot.0.wrapping_add(*boot)),
            wall: WallTime(now.wall.0.wrapping_add(*wall)),
            trusted: *trusted,
        };
        engine.step(now, event.clone(), &mut out);
        let deadline = engine.next_deadline();
        // At the end of time there is nothing later to wait for.
        let end = BootTime(u64::MAX);
        let is_ahead = |due: BootTime| due > engine.now().boot || engine.now().boot == end;
        prop_assert!(deadline.boot.is_none_or(is_ahead), "{:?} at {:?}", deadline, engine.now());
        for load in 0..LOADS {
            engine.account(LoadId(load as u32));
            engine.load_status(LoadId(load as u32), true, "drawn");
        }
        match number % 7 {
            3 => engine.reload((**house).clone(), &mut out),
            5 => {
                let stored = serde_json::to_string(&engine.snapshot()).expect("JSON");
                let snapshot = serde_json::from_str(&stored).expect("what was stored is read back");
                engine = Engine::restore(house.clone(), settings, engine.now(), snapshot, number % 2 == 0);
            }
            _ => {}
        }
    }
    Ok(out)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever comes, in whatever order, at whatever times: no panic, no deadline in the past, orders that can be read.
    #[test]
    fn anything_is_survived(text in any_house_text(), steps in prop::collection::vec((time(), event()), 1..60)) {
        let house = Arc::new(house(&text));
        let effects = run_raw(&house, &steps)?;
        for effect in &effects {
            if let Effect::SendOrders { board, orders } = effect {
                prop_assert_eq!(orders.relays.len(), usize::from(house.board(*board).relays));
                let read = standfast::wire::Orders::decode(orders.encode().as_bytes());
                prop_assert_eq!(read.as_ref(), Ok(orders));
            }
        }
        prop_assert_eq!(run_raw(&house, &steps)?, effects, "and once more the same");
    }
}
