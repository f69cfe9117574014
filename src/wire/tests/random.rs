//! Payloads drawn at random: what is written reads back, and no bytes make a decoder panic.

use proptest::prelude::*;

use super::*;

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
