//! Which message means what to a house and to a board, which are refused, and which are never asked for.

use super::*;

/// Routes one message and says in one line what became of it.
fn routed(topic: &str, payload: &str, retained: bool) -> String {
    let router = Router::new(&house(), Prefix::default());
    match router.route(topic, payload.as_bytes(), retained) {
        Err(refusal) => format!("refused: {refusal}"),
        Ok(Incoming::Life { board: BoardId(board), life }) => format!("life {board} {}", life.encode()),
        Ok(Incoming::Report { board: BoardId(board), report }) => format!("report {board} {report}"),
        Ok(Incoming::Input { port: PortId(port), word }) => format!("input {port} {}", word.encode()),
        Ok(Incoming::Hold { load: LoadId(load), word }) => format!("hold {load} {}", word.encode(Words::OnOff)),
        Ok(Incoming::Selector { selector, word }) => format!("selector {} {}", selector.0, word.encode()),
        Ok(Incoming::Setpoint { setpoint, word }) => format!("setpoint {} {}", setpoint.0, word.encode()),
        Ok(Incoming::Foreign(foreign)) => format!("{:?}", foreign.words),
        Ok(Incoming::Readings(readings)) => {
            let show = |(SensorId(sensor), value): (_, Result<Finite, Refusal>)| match value {
                Ok(number) => format!("{sensor}={}", number.get()),
                Err(refusal) => format!("{sensor}: {refusal}"),
            };
            readings.iter().map(show).collect::<Vec<_>>().join(", ")
        }
    }
}

#[test]
fn topics_find_what_the_house_calls_them() {
    for (topic, payload, expected) in [
        ("standfast/from/yard/life", "birth 17 power-on", "life 1 birth 17 power-on"),
        ("standfast/from/hall/report", "17 231 0 on off:9", "report 0 17 231 0 on off:9"),
        ("standfast/from/yard/reading/t1", "23.4", "0=23.4, 1=23.4"),
        ("standfast/from/yard/reading/lux", "40", "2=40"),
        ("standfast/from/hall/input/2", "press 6", "input 0 press 6"),
        ("standfast/from/hall/input/ir", "20DF40BF 7", "input 1 20DF40BF 7"),
        ("standfast/from/yard/input/door", "on", "input 2 on"),
        ("standfast/hold/porch-lamps", "off until sunset", "hold 1 off until sunset"),
        ("standfast/selector/house", "away 3d", "selector 0 away 3d"),
        ("standfast/selector/house", "release\n", "selector 0 release"),
        ("standfast/setpoint/sunroom", "29.50 until 22:00", "setpoint 0 29.5 until 22:00"),
        ("standfast/setpoint/sunroom", "-3", "setpoint 0 -3"),
        (
            "roof",
            r#"{"outdoor":{"t":-3.5,"rh":88}}"#,
            "3: word 1 is \"{\\\"outdoor\\\":{\\\"t\\\":-3.5,\\\"rh\\\":88}}\": expected a finite decimal number like 23.4, 4=88, 5=-3.5",
        ),
        ("roof", "12", "3=12, 4: the JSON has nothing at \"/outdoor/rh\", 5: the JSON has nothing at \"/outdoor/t\""),
    ] {
        assert_eq!(routed(topic, payload, false), expected, "on {topic}");
    }
}

#[test]
fn what_the_house_does_not_know_is_refused_with_its_reason() {
    for (topic, payload, expected) in [
        ("standfast/from/cellar/report", "1 1 0 on", "the house has no board \"cellar\""),
        ("standfast/hold/moon", "on", "the house has no load \"moon\""),
        ("standfast/selector/moon", "full", "the house has no selector \"moon\""),
        ("standfast/setpoint/moon", "1", "the house has no setpoint \"moon\""),
        (
            "standfast/setpoint/sunroom",
            "warm",
            "word 1 is \"warm\": expected a number like 29.5, then how long, or `release`",
        ),
        ("standfast/from/yard/reading/t9", "1", "nothing in the house uses this reading"),
        ("standfast/from/yard/input/9", "press 1", "nothing in the house uses this input"),
        ("standfast/from/yard/orders", "1 1 1 90 on", "no such topic in the contract"),
        ("standfast/from/yard", "1", "no such topic in the contract"),
        ("standfast/from/yard/report/x", "1", "no such topic in the contract"),
        ("standfast/to/yard/orders", "1 1 1 90 on", "no such topic in the contract"),
        ("standfast", "1", "no such topic in the contract"),
        ("standfaster/from/yard/life", "death 1", "no such topic in the contract"),
        ("cellar", "1", "no such topic in the contract"),
        ("", "", "no such topic in the contract"),
        ("standfast/from/yard/report", "1 1 0 on off", "speaks of 2 relays where the board has 4: dropped whole"),
    ] {
        assert_eq!(routed(topic, payload, false), format!("refused: {expected}"), "on {topic}");
    }
}

#[test]
fn retained_messages_are_refused_except_lives() {
    let publish = "its age is not known; publish it without the retain flag";
    assert_eq!(routed("standfast/from/yard/life", "death 3", true), "life 1 death 3");
    for (topic, payload, what) in [
        ("standfast/from/hall/report", "1 1 0 on on", "report"),
        ("standfast/from/hall/input/2", "press 1", "input"),
        ("standfast/hold/porch-lamps", "on 2h", "hold"),
        ("standfast/selector/house", "away 3d", "turn of a selector"),
        ("standfast/setpoint/sunroom", "29.5", "setpoint"),
    ] {
        assert_eq!(routed(topic, payload, true), format!("refused: retained {what}: {publish}"));
    }
    // A retained reading counts against its sensors, so it arrives as one bad reading for each.
    assert_eq!(
        routed("standfast/from/yard/reading/t1", "23.4", true),
        format!("0: retained reading: {publish}, 1: retained reading: {publish}")
    );
    assert_eq!(
        routed("roof", r#"{"outdoor":{"t":1,"rh":2}}"#, true).matches("retained reading").count(),
        3,
        "bare and pointed sensors alike"
    );
}

#[test]
fn a_board_reads_orders_fallback_and_the_controller_only() {
    let topics = BoardTopics::new(Prefix::default(), "yard");
    let inbox = BoardInbox::new(&topics, 2);
    check(
        inbox.route("standfast/to/yard/orders", b"1 1 1 90 on off", false),
        Ok(ToBoard::Orders(Orders {
            number: 1,
            boot: 1,
            beat: 1,
            lease_s: 90,
            relays: vec![RelayOrder::On, RelayOrder::Off],
        })),
    );
    check(
        inbox.route("standfast/to/yard/orders", b"1 1 1 90 on", false),
        Err("speaks of 1 relay where the board has 2: dropped whole"),
    );
    check(
        inbox.route("standfast/to/yard/orders", b"1 1 1 90 on off", true),
        Err("retained orders: its age is not known; publish it without the retain flag"),
    );
    assert!(matches!(
        inbox.route("standfast/to/yard/fallback", b"90 off off", true),
        Ok(ToBoard::Fallback(Fallback { lease_s: 90, .. }))
    ));
    check(inbox.route("standfast/controller", b"death", true), Ok(ToBoard::Controller(ControllerLife::Death)));
    check(inbox.route("standfast/to/hall/orders", b"1 1 1 90 on off", false), Err("no such topic in the contract"));
    assert_eq!(
        topics.filters(),
        ["standfast/to/yard/orders", "standfast/to/yard/fallback", "standfast/controller"].map(str::to_owned)
    );
    assert_eq!(topics.life(), "standfast/from/yard/life");
    assert_eq!(topics.report(), "standfast/from/yard/report");
    assert_eq!(topics.reading("t1"), "standfast/from/yard/reading/t1");
    assert_eq!(topics.input("2"), "standfast/from/yard/input/2");
}

#[test]
fn subscriptions_keep_the_retain_flag_where_a_stored_message_is_refused() {
    let made = subscriptions(&house(), &Prefix::default());
    let made: Vec<_> = made.iter().map(|s| (s.filter.as_str(), s.qos, s.retain_as_published)).collect();
    let hands = ["hold/#", "selector/#", "setpoint/#", "controller/knock"].map(|filter| format!("standfast/{filter}"));
    assert_eq!(made[0], ("standfast/from/#", 1, false));
    assert_eq!(made[1..5], hands.each_ref().map(|filter| (filter.as_str(), 1, true)));
    let ours = ["to/+/fallback", "load/+", "alarm/+"].map(|filter| format!("standfast/{filter}"));
    assert_eq!(made[5..8], ours.each_ref().map(|filter| (filter.as_str(), 1, false)));
    assert_eq!(made[8..], [("roof", 1, false)]);
    let topics = Topics::new(Prefix::default());
    assert_eq!(topics.load("hall-lamp"), "standfast/load/hall-lamp");
    assert_eq!(topics.alarm("board-lost"), "standfast/alarm/board-lost");
    assert_eq!(topics.hold("hall-lamp"), "standfast/hold/hall-lamp");
    assert_eq!(topics.selector("house"), "standfast/selector/house");
    assert_eq!(topics.setpoint("sunroom"), "standfast/setpoint/sunroom");
}
