//! Tests of the wire: the examples of the contract word for word, what is refused and why, and that nothing panics.

mod random;
mod routing;

use super::*;
use crate::house::{
    BoardId, Calibration, Grade, House, LoadId, Place, Port, PortId, Selector, Sensor, SensorId, Setpoint, Source,
    State, Words, bare,
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

/// Two boards; two sensors on one reading; three on one topic outside, two of them in its JSON.
pub(super) fn house() -> House {
    let on_board = |reading: &str| Source::Board { board: BoardId(1), reading: reading.to_owned() };
    let roof = |field: Option<&str>| Source::Topic { topic: "roof".to_owned(), field: field.map(str::to_owned) };
    House {
        boards: vec![bare::board("hall", 2), bare::board("yard", 4)],
        sensors: vec![
            sensor("air", on_board("t1")),
            sensor("air-again", on_board("t1")),
            sensor("lux", on_board("lux")),
            sensor("roof-bare", roof(None)),
            sensor("roof-rh", roof(Some("/outdoor/rh"))),
            sensor("roof-t", roof(Some("/outdoor/t"))),
        ],
        loads: vec![bare::lamp("hall-lamp", 0, 1), bare::lamp("porch-lamps", 0, 1)],
        ports: vec![
            Port { board: BoardId(0), name: "2".to_owned() },
            Port { board: BoardId(0), name: "ir".to_owned() },
            Port { board: BoardId(1), name: "door".to_owned() },
        ],
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
        ..bare::house()
    }
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
