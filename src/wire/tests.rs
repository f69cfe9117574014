//! Tests of the wire: the examples of the contract word for word, what is refused and why, and that nothing panics.

use jiff::tz::TimeZone;
use proptest::prelude::*;

use super::*;
use crate::house::{
    Board, BoardId, Calibration, Contact, Drive, Grade, House, Kind, Load, LoadId, Place, Port, PortId, Relay,
    Selector, Sensor, SensorId, Setpoint, Site, Source, State, Term, Words,
};
use crate::units::{Finite, Span};

fn check<T: std::fmt::Debug + PartialEq>(decoded: Result<T, Refusal>, expected: Result<T, &str>) {
    assert_eq!(decoded.map_err(|refusal| refusal.to_string()), expected.map_err(str::to_owned));
}

fn word(text: &str) -> Word {
    Word::new(text).expect("a word that fits")
}

fn known(energised: bool, seconds: u32, changes: u32, hands: u32) -> RelayReport {
    RelayReport { energised, seconds: Some(seconds), changes: Some(changes), hands: Some(hands) }
}

#[test]
fn the_examples_of_the_contract_read_and_write_word_for_word() {
    let orders = Orders {
        number: 4711,
        boot: 17,
        beat: 231,
        lease_s: 90,
        relays: vec![RelayOrder::On, RelayOrder::Off, RelayOrder::None, RelayOrder::Off],
    };
    assert_eq!(orders.encode(), "4711 17 231 90 on off - off");
    check(Orders::decode(b"4711 17 231 90 on off - off"), Ok(orders));
    check(Orders::decode(b"1 1 1 0 on:400").map(|orders| orders.relays), Ok(vec![RelayOrder::Pulse(400)]));

    let plain = FallbackRelay::from;
    let deaf_off = FallbackRelay { word: FallbackWord::Off, deaf: true };
    let relays = vec![plain(FallbackWord::Off), plain(FallbackWord::On), deaf_off, plain(FallbackWord::Keep)];
    let fallback = Fallback { lease_s: 90, relays };
    assert_eq!(fallback.encode(), "90 off on off! keep");
    check(Fallback::decode(b"90 off on off! keep"), Ok(fallback));

    let birth = Life::Birth { boot: 17, cause: word("power-on") };
    assert_eq!(birth.encode(), "birth 17 power-on");
    check(Life::decode(b"birth 17 power-on"), Ok(birth));
    assert_eq!(Life::Death { boot: 17 }.encode(), "death 17");
    check(Life::decode(b"death 17"), Ok(Life::Death { boot: 17 }));

    let relays = vec![known(true, 35, 12, 0), known(false, 900, 11, 2)];
    let report = Report { boot: 17, beat: 231, taken: 4711, relays };
    assert_eq!(report.encode(), "17 231 4711 on:35:12:0 off:900:11:2");
    check(Report::decode(b"17 231 4711 on:35:12:0 off:900:11:2"), Ok(report));

    check(number(b"23.4").map(Finite::get), Ok(23.4));

    for (text, word) in [
        ("press 6", InputWord::Press { count: 6 }),
        ("20DF40BF 7", InputWord::Code { code: Code::new("20df40bf").expect("a code"), count: 7 }),
        ("on", InputWord::On),
        ("off", InputWord::Off),
    ] {
        assert_eq!(word.encode().to_uppercase(), text.to_uppercase());
        check(InputWord::decode(text.as_bytes()), Ok(word));
    }

    let controller = ControllerLife::Birth { version: word("0.3.1"), revision: word("4f2c9a1") };
    assert_eq!(controller.encode(), "birth 0.3.1 4f2c9a1");
    check(ControllerLife::decode(b"birth 0.3.1 4f2c9a1"), Ok(controller));
    check(ControllerLife::decode(b"death"), Ok(ControllerLife::Death));

    for (text, word) in [
        ("on 2h", HoldWord::Hold { state: State::On, term: Some("2h".to_owned()) }),
        ("off until sunset", HoldWord::Hold { state: State::Off, term: Some("until sunset".to_owned()) }),
        ("on", HoldWord::Hold { state: State::On, term: None }),
        ("release", HoldWord::Release),
    ] {
        assert_eq!(word.encode(Words::OnOff), text);
        check(HoldWord::decode(text.as_bytes(), Words::OnOff), Ok(word));
    }
}

#[test]
fn an_actuator_is_held_open_or_closed() {
    let open = HoldWord::Hold { state: State::On, term: Some("2h".to_owned()) };
    assert_eq!(open.encode(Words::OpenClosed), "open 2h");
    check(HoldWord::decode(b"open 2h", Words::OpenClosed), Ok(open));
    check(HoldWord::decode(b"closed", Words::OpenClosed), Ok(HoldWord::Hold { state: State::Off, term: None }));
    check(HoldWord::decode(b"release", Words::OpenClosed), Ok(HoldWord::Release));
    let expected = "expected `open` or `closed`, then how long, or `release`";
    check(HoldWord::decode(b"on 2h", Words::OpenClosed), Err(&format!("word 1 is \"on\": {expected}")));
    let expected = "expected `on` or `off`, then how long, or `release`";
    check(HoldWord::decode(b"open", Words::OnOff), Err(&format!("word 1 is \"open\": {expected}")));
}

#[test]
fn fields_that_a_board_does_not_know_may_be_empty_dashed_or_missing() {
    let relay = |text: &str| Report::decode(format!("1 1 0 {text}").as_bytes()).map(|report| report.relays[0]);
    let absent = RelayReport { energised: true, ..RelayReport::default() };
    let holed = RelayReport { seconds: None, ..known(true, 0, 12, 0) };
    check(relay("on"), Ok(absent));
    check(relay("on:35"), Ok(RelayReport { seconds: Some(35), ..absent }));
    check(relay("on:-:12:0"), Ok(holed));
    check(relay("on::12:0"), Ok(holed));
    check(relay("on:::"), Ok(absent));
    assert_eq!(holed.to_string(), "on:-:12:0");
    assert_eq!(absent.to_string(), "on");
    let relay_form = "expected `on` or `off`, then as far as known `:<seconds>:<changes>:<hands>`";
    for wrong in ["on:1:2:3:4", "On", "1", "on:x", "on:-1", "on:99999999999", ""] {
        check(relay(wrong), Err(&format!("word 4 is \"{wrong}\": {relay_form}")));
    }
}

#[test]
fn a_refusal_names_the_word_and_what_was_expected() {
    let orders = |text: &str| Orders::decode(text.as_bytes()).map(|_| ());
    check(orders(""), Err("empty payload: expected orders: number, boot, beat, lease, then a word for each relay"));
    check(orders("4711"), Err("payload ends too early: expected the boot that is answered, from 1"));
    check(orders("0 1 1 90 on"), Err("word 1 is \"0\": expected the order number, from 1"));
    check(orders("5 1 1 soon on"), Err("word 4 is \"soon\": expected the lease in whole seconds, 0 (none) to 3600"));
    check(orders("5 1 1 3601 on"), Err("word 4 is \"3601\": expected the lease in whole seconds, 0 (none) to 3600"));
    check(orders("5 1 1 90"), Err("payload ends too early: expected a word for each relay"));
    check(orders("5  1 1 90 on"), Err("word 2 is \"\": expected the boot that is answered, from 1"));
    check(
        orders("5 1 1 90 on on:0"),
        Err("word 6 is \"on:0\": expected `on`, `off`, `on:<milliseconds>` or `-` for a relay"),
    );
    check(
        orders(&format!("5 1 1 90{}", " on".repeat(17))),
        Err("word 21 is \"on\": expected no more than sixteen relays"),
    );
    check(orders(&"5".repeat(641)), Err("payload of 641 bytes: at most 640 are taken"));
    check(Orders::decode(b"5 1 1 90 \xff").map(|_| ()), Err("payload is not UTF-8 text"));
    check(
        Life::decode(b"birth 17 power-on again"),
        Err("\"again\" is too much: expected the payload to end before it"),
    );
    check(
        HoldWord::decode(b"release now", Words::OnOff),
        Err("\"now\" is too much: expected the payload to end before it"),
    );
    check(InputWord::decode(b"on 5"), Err("\"5\" is too much: expected the payload to end before it"));
    check(
        InputWord::decode(b"press"),
        Err("payload ends too early: expected how many there have been since the boot, a whole number"),
    );
    check(
        HoldWord::decode("an\u{1b}[31m äußerst langes Wort, das niemand braucht".as_bytes(), Words::OnOff),
        Err("word 1 is \"an\\u{1b}[31m\": expected `on` or `off`, then how long, or `release`"),
    );
}

#[test]
fn a_line_end_behind_the_payload_is_not_part_of_it() {
    check(Life::decode(b"death 17\n"), Ok(Life::Death { boot: 17 }));
    check(InputWord::decode(b"on\r\n"), Ok(InputWord::On));
    check(number(b" 23.40 \r\n").map(Finite::get), Ok(23.4));
}

#[test]
fn only_finite_decimal_numbers_are_readings() {
    for (text, expected) in [
        ("23.4", 23.4),
        ("-0.5", -0.5),
        ("+7", 7.0),
        (".5", 0.5),
        ("5.", 5.0),
        ("-0", 0.0),
        ("1.2e+03", 1200.0),
        ("4E-2", 0.04),
        ("  21.50", 21.5),
    ] {
        check(number(text.as_bytes()).map(Finite::get), Ok(expected));
    }
    for wrong in [
        "nan",
        "NaN",
        "-nan",
        "inf",
        "-inf",
        "Infinity",
        "1e999",
        "0x1F",
        "23,4",
        "23.4 C",
        "1.2.3",
        ".",
        "-",
        "e5",
        "1e",
        "--1",
        "1_000",
        "٣",
        "true",
        "0000000000000000000000000000000000001",
    ] {
        assert!(number(wrong.as_bytes()).is_err(), "{wrong} was read as a number");
    }
    check(number(b" \n"), Err("empty payload: expected a finite decimal number like 23.4"));
    check(number(b"nan"), Err("word 1 is \"nan\": expected a finite decimal number like 23.4"));
}

#[test]
fn numbers_are_found_in_json_by_rfc_6901_pointers() {
    // The document and pointers of RFC 6901, section 5, as far as they lead to numbers.
    let rfc = br#"{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}"#;
    let pointers = ["/", "/a~1b", "/c%d", "/e^f", "/g|h", "/i\\j", "/k\"l", "/ ", "/m~0n"];
    for (expected, pointer) in pointers.iter().enumerate() {
        check(number_in_json(rfc, pointer).map(Finite::get), Ok(expected as f64));
    }
    check(number_in_json(rfc, "/foo/0"), Err("the JSON has text at \"/foo/0\": expected a finite number"));
    check(number_in_json(rfc, "/foo"), Err("the JSON has a list at \"/foo\": expected a finite number"));
    check(number_in_json(rfc, "/none"), Err("the JSON has nothing at \"/none\""));
    check(number_in_json(br#"{"t":"21.5"}"#, "/t").map(Finite::get), Ok(21.5));
    check(number_in_json(br#"{"t":null}"#, "/t"), Err("the JSON has null at \"/t\": expected a finite number"));
    check(number_in_json(br#"{"t":"nan"}"#, "/t"), Err("the JSON has text at \"/t\": expected a finite number"));
    check(number_in_json(b"21.5 C", ""), Err("payload is not JSON, but the house names a field in it"));
    check(number_in_json(br#"{"t":1e999}"#, "/t"), Err("payload is not JSON, but the house names a field in it"));
    check(number_in_json(&[b'['; 8192], "/t"), Err("payload is not JSON, but the house names a field in it"));
    check(number_in_json(&[b' '; 8193], "/t"), Err("payload of 8193 bytes: at most 8192 are taken"));
}

pub(super) fn sensor(name: &str, source: Source) -> Sensor {
    Sensor {
        name: name.to_owned(),
        source,
        unit: String::new(),
        range: None,
        stale_after: Span::from_min(5),
        median_of: 1,
        calibration: Calibration::default(),
        max_rate: None,
        grade: Grade::default(),
    }
}

pub(super) fn board(name: &str, relays: u8) -> Board {
    Board {
        name: name.to_owned(),
        relays,
        lease: Some(Span::from_s(90)),
        coil: None,
        supply: None,
        endurance: None,
        replaced: Vec::new(),
        foreign: None,
    }
}

fn lamp(name: &str) -> Load {
    Load {
        name: name.to_owned(),
        label: name.to_owned(),
        room: None,
        drive: Drive::Relay(Relay { board: BoardId(0), number: 1 }),
        contact: Contact::No,
        kind: Kind::Lamp,
        power: None,
        endurance: None,
        safe: State::Off,
        resting: State::Off,
        min_on: Span::ZERO,
        min_off: Span::ZERO,
        max_on: None,
        rest: Span::ZERO,
        max_starts: None,
        pulse: None,
        proof: None,
        hold_for: Term::NextChange,
        place: Place::default(),
    }
}

/// Two boards; two sensors on one reading; three on one topic outside, two of them in its JSON.
pub(super) fn house() -> House {
    let on_board = |reading: &str| Source::Board { board: BoardId(1), reading: reading.to_owned() };
    let roof = |field: Option<&str>| Source::Topic { topic: "roof".to_owned(), field: field.map(str::to_owned) };
    House {
        site: Site {
            latitude: 54.6,
            longitude: -3.14,
            zone_name: "UTC".to_owned(),
            zone: TimeZone::UTC,
            stagger: Span::from_s(1),
        },
        boards: vec![board("hall", 2), board("yard", 4)],
        sensors: vec![
            sensor("air", on_board("t1")),
            sensor("air-again", on_board("t1")),
            sensor("lux", on_board("lux")),
            sensor("roof-bare", roof(None)),
            sensor("roof-rh", roof(Some("/outdoor/rh"))),
            sensor("roof-t", roof(Some("/outdoor/t"))),
        ],
        loads: vec![lamp("hall-lamp"), lamp("porch-lamps")],
        ports: vec![
            Port { board: BoardId(0), name: "2".to_owned() },
            Port { board: BoardId(0), name: "ir".to_owned() },
            Port { board: BoardId(1), name: "door".to_owned() },
        ],
        inputs: vec![],
        rules: vec![],
        conditions: vec![],
        atoms: vec![],
        interlocks: vec![],
        circuits: vec![],
        actuators: vec![],
        rotations: vec![],
        selectors: vec![Selector {
            name: "house".to_owned(),
            label: "house".to_owned(),
            positions: vec!["lived-in".to_owned(), "away".to_owned()],
            place: Place::default(),
        }],
        setpoints: vec![Setpoint {
            name: "sunroom".to_owned(),
            label: "sunroom".to_owned(),
            unit: String::new(),
            value: 28.0,
            range: (20.0, 32.0),
            place: Place::default(),
        }],
        files: vec![],
    }
}

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
        Err("speaks of 1 relays where the board has 2: dropped whole"),
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
    assert_eq!(made[5..], [("roof", 1, false)]);
    let topics = Topics::new(Prefix::default());
    assert_eq!(topics.load("hall-lamp"), "standfast/load/hall-lamp");
    assert_eq!(topics.alarm("board-lost"), "standfast/alarm/board-lost");
    assert_eq!(topics.hold("hall-lamp"), "standfast/hold/hall-lamp");
    assert_eq!(topics.selector("house"), "standfast/selector/house");
    assert_eq!(topics.setpoint("sunroom"), "standfast/setpoint/sunroom");
}

#[test]
fn a_prefix_must_be_able_to_head_a_topic() {
    check(Prefix::parse("standfast/").map(|prefix| prefix.to_string()), Ok("standfast".to_owned()));
    check(Prefix::parse("rowan/cottage").map(|prefix| prefix.to_string()), Ok("rowan/cottage".to_owned()));
    for (text, reason) in [
        ("", "it is empty"),
        ("/", "it is empty"),
        ("/house", "it has an empty level"),
        ("a//b", "it has an empty level"),
        ("a/+/b", "+, # and control characters cannot stand in a topic"),
        ("#", "+, # and control characters cannot stand in a topic"),
        ("$SYS", "topics that begin with $ belong to the broker"),
        ("a-very-long-prefix-that-nobody-needs", "it is longer than 32 bytes"),
    ] {
        check(Prefix::parse(text), Err(&format!("prefix cannot be used: {reason}")));
    }
}

#[test]
fn the_widest_payloads_fit() {
    let widest = Report {
        boot: u32::MAX,
        beat: u32::MAX,
        taken: u32::MAX,
        relays: vec![known(false, u32::MAX, u32::MAX, u32::MAX); RELAYS_MAX],
    };
    assert_eq!(widest.encode().len(), 624, "as deploy/board.md says");
    let orders = Orders {
        number: u32::MAX,
        boot: u32::MAX,
        beat: u32::MAX,
        lease_s: LEASE_MAX_S,
        relays: vec![RelayOrder::Pulse(3_600_000); RELAYS_MAX],
    };
    assert!(orders.encode().len() <= PAYLOAD_MAX);
    // What TOPIC_MAX promises to names under the default prefix.
    let topics = BoardTopics::new(Prefix::default(), &"b".repeat(20));
    assert_eq!(topics.reading(&"r".repeat(20)).len(), TOPIC_MAX);
}

fn a_word() -> impl Strategy<Value = Word> {
    "[!-~]{1,40}".prop_map(|text| word(&text))
}

fn a_relay_order() -> impl Strategy<Value = RelayOrder> {
    prop_oneof![
        Just(RelayOrder::On),
        Just(RelayOrder::Off),
        Just(RelayOrder::None),
        (1..=3_600_000_u32).prop_map(RelayOrder::Pulse)
    ]
}

fn a_fallback_relay() -> impl Strategy<Value = FallbackRelay> {
    let word = prop_oneof![Just(FallbackWord::On), Just(FallbackWord::Off), Just(FallbackWord::Keep)];
    (word, any::<bool>()).prop_map(|(word, deaf)| FallbackRelay { word, deaf })
}

fn a_relay_report() -> impl Strategy<Value = RelayReport> {
    (any::<bool>(), any::<Option<u32>>(), any::<Option<u32>>(), any::<Option<u32>>())
        .prop_map(|(energised, seconds, changes, hands)| RelayReport { energised, seconds, changes, hands })
}

/// Text that looks like the contract's, so that it reaches deep into the decoders.
fn nearly_a_payload() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        Just("on".to_owned()),
        Just("off".to_owned()),
        Just("birth".to_owned()),
        Just("press".to_owned()),
        Just(" ".to_owned()),
        Just("-".to_owned()),
        Just(":".to_owned()),
        Just("!".to_owned()),
        any::<u64>().prop_map(|number| number.to_string()),
        any::<f64>().prop_map(|number| number.to_string()),
        any::<char>().prop_map(|c| c.to_string()),
    ];
    prop::collection::vec(piece, 0..40).prop_map(|pieces| pieces.concat().into_bytes())
}

proptest! {
    #[test]
    fn what_is_written_reads_back(
        number in 1..=u32::MAX, boot in 1..=u32::MAX, beat in 1..=u32::MAX, taken: u32, lease_s in 0..=LEASE_MAX_S,
        orders in prop::collection::vec(a_relay_order(), 1..=RELAYS_MAX),
        fallback in prop::collection::vec(a_fallback_relay(), 1..=RELAYS_MAX),
        reports in prop::collection::vec(a_relay_report(), 1..=RELAYS_MAX),
        cause in a_word(), revision in a_word(), code in "[0-9A-Fa-f:]{1,32}", count: u32,
    ) {
        let orders = Orders { number, boot, beat, lease_s, relays: orders };
        prop_assert_eq!(Orders::decode(orders.encode().as_bytes()), Ok(orders));
        let fallback = Fallback { lease_s, relays: fallback };
        prop_assert_eq!(Fallback::decode(fallback.encode().as_bytes()), Ok(fallback));
        let report = Report { boot, beat, taken, relays: reports };
        prop_assert!(report.encode().len() <= PAYLOAD_MAX);
        prop_assert_eq!(Report::decode(report.encode().as_bytes()), Ok(report));
        let controller = ControllerLife::Birth { version: cause.clone(), revision };
        prop_assert_eq!(ControllerLife::decode(controller.encode().as_bytes()), Ok(controller));
        let birth = Life::Birth { boot, cause };
        prop_assert_eq!(Life::decode(birth.encode().as_bytes()), Ok(birth));
        let key = InputWord::Code { code: Code::new(&code).expect("hexadecimal"), count };
        prop_assert_eq!(InputWord::decode(key.encode().as_bytes()), Ok(key));
    }

    #[test]
    fn finite_numbers_read_back(value in any::<f64>().prop_filter("finite", |value| value.is_finite())) {
        let text = format!("{value:e}");
        prop_assert_eq!(number(text.as_bytes()).map(Finite::get), Ok(value + 0.0));
    }

    #[test]
    fn no_bytes_make_a_decoder_panic(
        payload in prop_oneof![prop::collection::vec(any::<u8>(), 0..700), nearly_a_payload()],
        tail in "\\PC{0,20}", retained: bool,
    ) {
        let router = Router::new(&house(), Prefix::default());
        let known = ["from/yard/life", "from/yard/report", "from/yard/reading/t1", "from/hall/input/ir", "hold/hall-lamp"];
        let topics = known.map(|topic| format!("standfast/{topic}"));
        for topic in topics.iter().map(String::as_str).chain(["roof", tail.as_str()]) {
            if let Err(refusal) = router.route(topic, &payload, retained) {
                prop_assert!(refusal.to_string().len() < 400);
            }
        }
        let board = BoardTopics::new(Prefix::default(), "yard");
        let inbox = BoardInbox::new(&board, 4);
        for topic in [board.orders(), board.fallback(), board.controller()] {
            let _ = inbox.route(&topic, &payload, retained);
        }
        let _ = number_in_json(&payload, &tail);
        let _ = Prefix::parse(&tail);
        prop_assert!(Word::new(Word::nearest(&tail).as_str()).is_some());
    }
}
