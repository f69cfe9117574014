//! Boards of other firmware: reads where orders go and in which words, and how such a board tells of itself. It never sends
//! or reads a message.

use super::super::address;
use super::super::context::Context;
use super::super::fields::{Fields, Refused, clip, within};
use super::super::keys::Key;
use super::super::tree::{Node, Value};
use super::foreign_keys::{self, KEYS};
use crate::house::{Ask, Ear, Foreign, ForeignRelay, LEASE_SECONDS};
use crate::units::{Span, counted};

/// Stands for the number of the relay.
const RELAY: &str = "{relay}";
/// The longest payload and pointer, in bytes.
const TEXT_MAX: usize = 256;
/// Orders are repeated this often where nothing else is said.
const REPEAT: Span = Span::from_min(1);
/// A board that only reports is missed after this long where nothing else is said.
const LOST_AFTER: Span = Span::from_min(5);
/// No repetition and no question comes more often.
const OFTEN_MIN: Span = Span::from_s(1);

/// The habits of a board: `Some(None)` where it knows the contract, `None` where they cannot be read. `lease` is `None` where
/// that could not be read.
pub(super) fn foreign(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    relays: u8,
    lease: Option<Option<Span>>,
) -> Option<Option<Foreign>> {
    if !fields.has("order") {
        let stray = KEYS.iter().map(|key| key.name).find(|key| fields.has(key));
        let Some(stray) = stray else { return Some(None) };
        let message = format!("`{stray}` goes with `order` only");
        let diagnostic = context
            .error("contradiction", fields.key_spot_of(stray), message, "")
            .because("a board that knows Standfast's wire says all of that by itself")
            .help(format!("leave `{stray}` out, or add where its orders go: order = {}", KEYS[0].example));
        context.push(diagnostic);
        return None;
    }
    let first = match fields.has("first") {
        true => fields.whole(context, "first", 0, 255)?,
        false => 1,
    };
    let numbers: Vec<i64> = (first..first + i64::from(relays)).collect();
    let low = if fields.has("active_low") { truth(context, fields, "active_low")? } else { false };
    let order = inner(context, fields, "order", "an order", &foreign_keys::ORDER);
    let orders = order.as_ref().and_then(|order| orders(context, order, &numbers, low));
    let reports = reports(context, fields, &numbers, low);
    let alive = optional(fields.has("alive"), || alive(context, fields));
    let ask = optional(fields.has("ask"), || ask(context, fields));
    let (order, orders, reports, alive, ask) = (order?, orders?, reports?, alive?, ask?);
    let is_timed = orders.iter().any(|(_, payloads)| payloads[1].contains(LEASE_SECONDS));
    let pulls = if low { "released" } else { "energised" };
    let lease = fitting_lease(context, fields, (is_timed, pulls), lease?)?;
    let acknowledged = match order.has("qos") {
        true => order.whole(context, "qos", 0, 1)? == 1,
        false => true,
    };
    let retain = if order.has("retain") { truth(context, &order, "retain")? } else { false };
    let repeat = repeat(context, &order, lease)?;
    let speaks = reports.iter().any(Option::is_some);
    let lost_after = lost_after(context, fields, speaks, alive.is_some())?;
    if ask.is_some() && !speaks {
        let diagnostic = context
            .error("contradiction", fields.key_spot_of("ask"), format!("{} has nothing to answer with", fields.title), "")
            .help("leave `ask` out, or say where the answer comes: report = { topic = ..., energised = ..., released = ... }");
        context.push(diagnostic);
        return None;
    }
    let relays = orders
        .into_iter()
        .zip(reports)
        .map(|((topic, payloads), report)| ForeignRelay { topic, payloads, report })
        .collect();
    Some(Some(Foreign { relays, acknowledged, retain, repeat, alive, ask, lost_after }))
}

/// `Some(None)` where a key was not written, `None` where it was and could not be read.
fn optional<T>(written: bool, read: impl FnOnce() -> Option<T>) -> Option<Option<T>> {
    if written { read().map(Some) } else { Some(None) }
}

/// Topic and payloads, released and energised, for each relay.
fn orders(
    context: &mut Context<'_>,
    order: &Fields<'_>,
    numbers: &[i64],
    low: bool,
) -> Option<Vec<(String, [String; 2])>> {
    let topics = topics(context, order, numbers);
    let words = words(context, order, ["released", "energised"], low);
    let (topics, words) = (topics?, words?);
    if words[0].contains(LEASE_SECONDS) {
        let (releases, pulls) = if low { ("energised", "released") } else { ("released", "energised") };
        let message = format!("{LEASE_SECONDS} stands in the payload that releases a relay");
        let diagnostic = context
            .error("contradiction", order.spot_of(releases), message, "")
            .because("it is what makes a board release its relay by itself, so it belongs where a relay is pulled in")
            .help(format!("put it into `{pulls}`, if the board's firmware can do that"));
        context.push(diagnostic);
        return None;
    }
    let of_relay = |(number, topic): (&i64, String)| (topic, words.clone().map(|word| filled(&word, *number)));
    let orders: Vec<(String, [String; 2])> = numbers.iter().zip(topics).map(of_relay).collect();
    let alike = (1..orders.len()).find_map(|at| Some((orders[..at].iter().position(|one| *one == orders[at])?, at)));
    alike.map_or(Some(orders), |(one, other)| report_alike(context, order, numbers[one], numbers[other]))
}

/// Where each relay is reported; all `None` for `report = "none"`.
fn reports(context: &mut Context<'_>, fields: &Fields<'_>, numbers: &[i64], low: bool) -> Option<Vec<Option<Ear>>> {
    match fields.node("report") {
        None => {
            let message = format!("{} does not say whether it reports", fields.title);
            let diagnostic = context.error("missing-key", fields.spot, message, "").help(
                "add report = \"none\" if it never says what its relays do; else where it does: report = { topic = \
                 \"shed/contact/{relay}\", energised = \"1\", released = \"0\" }",
            );
            context.push(diagnostic);
            None
        }
        Some(Node { value: Value::Text(text), .. }) if text == "none" => Some(vec![None; numbers.len()]),
        Some(_) => {
            let report = inner(context, fields, "report", "a report", &foreign_keys::REPORT)?;
            let topics = topics(context, &report, numbers);
            let field = optional(report.has("field"), || report.text(context, "field"));
            let words = words(context, &report, ["released", "energised"], low);
            let (topics, field, words) = (topics?, field?, words?);
            let mut ears = Vec::with_capacity(topics.len());
            for (number, topic) in numbers.iter().zip(topics) {
                let field = match field.as_deref().map(|field| address::pointer(&filled(field, *number))).transpose() {
                    Ok(field) => field,
                    Err(refused) => {
                        report.refuse(context, "field", refused);
                        return None;
                    }
                };
                let words = words.clone().map(|word| filled(&word, *number));
                ears.push(Ear { topic, field, words });
            }
            let alike = (1..ears.len()).find_map(|at| Some((ears[..at].iter().position(|one| *one == ears[at])?, at)));
            if let Some((one, other)) = alike {
                return report_alike(context, &report, numbers[one], numbers[other]);
            }
            Some(ears.into_iter().map(Some).collect())
        }
    }
}

fn report_alike<T>(context: &mut Context<'_>, fields: &Fields<'_>, one: i64, other: i64) -> Option<T> {
    let message = format!("{} does not tell relay {one} from relay {other}", fields.title);
    let diagnostic = context.error("indistinct", fields.spot_of("topic"), message, "").help(format!(
        "put {RELAY} where the board expects the relay's number, or give a list of topics, one for each"
    ));
    context.push(diagnostic);
    None
}

/// The topics behind `topic`, one for each relay.
fn topics(context: &mut Context<'_>, fields: &Fields<'_>, numbers: &[i64]) -> Option<Vec<String>> {
    let node = fields.node("topic")?;
    let written: Vec<&str> = match &node.value {
        Value::Text(text) => vec![text.as_str(); numbers.len()],
        Value::List(items) => {
            let texts =
                items.iter().map(|item| if let Value::Text(text) = &item.value { Some(text.as_str()) } else { None });
            match texts.collect::<Option<Vec<&str>>>() {
                Some(texts) if texts.len() == numbers.len() => texts,
                Some(texts) => {
                    let cause =
                        format!("it names {} for {}", counted(texts.len(), "topic"), counted(numbers.len(), "relay"));
                    fields.refuse(
                        context,
                        "topic",
                        Refused::new(cause, "name one topic for each relay, in their order"),
                    );
                    return None;
                }
                None => {
                    fields.report_type(context, "topic", node);
                    return None;
                }
            }
        }
        _ => {
            fields.report_type(context, "topic", node);
            return None;
        }
    };
    let topics = numbers.iter().zip(written).map(|(number, topic)| {
        stray_placeholder(topic, &[RELAY])?;
        address::topic(&filled(topic, *number))
    });
    match topics.collect::<Result<Vec<String>, Refused>>() {
        Ok(topics) => Some(topics),
        Err(refused) => {
            fields.refuse(context, "topic", refused);
            None
        }
    }
}

/// Two words that differ; in the other order where the pins are low.
fn words(context: &mut Context<'_>, fields: &Fields<'_>, keys: [&str; 2], low: bool) -> Option<[String; 2]> {
    let [no, yes] = keys.map(|key| fields.parsed(context, key, word));
    let (no, yes) = (no?, yes?);
    if no == yes {
        let message = format!("`{}` and `{}` are the same word", keys[0], keys[1]);
        let diagnostic = context
            .error("indistinct", fields.spot_of(keys[1]), message, "")
            .because("a word that toggles would do something else whenever a message is doubled")
            .help("write two words, each of which always means the same to the board");
        context.push(diagnostic);
        return None;
    }
    Some(if low { [yes, no] } else { [no, yes] })
}

fn word(text: &str) -> Result<String, Refused> {
    if text.is_empty() || text.chars().any(char::is_control) {
        return Err(Refused::new("it is empty or has a control character", "write the word as the board expects it"));
    }
    if text.len() > TEXT_MAX {
        return Err(Refused::new(format!("it is longer than {TEXT_MAX} bytes"), "shorten it"));
    }
    stray_placeholder(text, &[RELAY, LEASE_SECONDS])?;
    Ok(text.to_owned())
}

/// Refuses `{channel}` and the like, which would go out as they stand.
fn stray_placeholder(text: &str, known: &[&str]) -> Result<(), Refused> {
    for (open, _) in text.match_indices('{') {
        let inner = text[open + 1..].split('}').next().unwrap_or("");
        let is_placeholder = text[open + 1..].contains('}')
            && !inner.is_empty()
            && inner.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_');
        let whole = format!("{{{inner}}}");
        if is_placeholder && !known.contains(&whole.as_str()) {
            let help = format!("write {} where the board expects it", known.join(" or "));
            return Err(Refused::new(format!("{} stands for nothing here", clip(&whole)), help));
        }
    }
    Ok(())
}

fn filled(text: &str, number: i64) -> String {
    text.replace(RELAY, &number.to_string())
}

/// Holds the lease against what the payload can carry.
fn fitting_lease(
    context: &mut Context<'_>,
    fields: &Fields<'_>,
    (is_timed, pulls): (bool, &str),
    lease: Option<Span>,
) -> Option<Option<Span>> {
    let (message, because, help) = match (is_timed, lease) {
        (true, Some(_)) | (false, None) => return Some(lease),
        (false, Some(_)) => (
            format!("{} cannot be given a lease", fields.title),
            "its payload does not carry one, so nothing would release its relays when contact is lost",
            format!(
                "write lease = \"none\"; or, if its firmware can release a relay after a time, put {LEASE_SECONDS} into `{pulls}`"
            ),
        ),
        (true, None) => (
            format!("{} has no lease to put for {LEASE_SECONDS}", fields.title),
            "its firmware is to release a relay after that many seconds",
            format!("write lease = \"90s\", or take {LEASE_SECONDS} out of the payload"),
        ),
    };
    let diagnostic = context.error("contradiction", fields.spot_of("lease"), message, "").because(because).help(help);
    context.push(diagnostic);
    None
}

/// How often orders are repeated: with a lease often enough that one lost message does not matter.
fn repeat(context: &mut Context<'_>, order: &Fields<'_>, lease: Option<Span>) -> Option<Option<Span>> {
    if !order.has("repeat") {
        return Some(Some(lease.map_or(REPEAT, |lease| Span(lease.0 / 4))));
    }
    order.parsed(context, "repeat", |text| match (text, lease) {
        ("none", None) => Ok(None),
        ("none", Some(_)) => Err(Refused::new(
            "without repeated orders the board releases its relays when the lease is over",
            "leave `repeat` out: a quarter of the lease is usual",
        )),
        (_, lease) => {
            let most = lease.map_or(Span::from_h(24), |lease| Span(lease.0 / 2));
            within(text, OFTEN_MIN, most).map(Some)
        }
    })
}

fn lost_after(context: &mut Context<'_>, fields: &Fields<'_>, reports: bool, has_alive: bool) -> Option<Option<Span>> {
    if fields.has("lost_after") {
        if !reports && !has_alive {
            let diagnostic = context
                .error(
                    "contradiction",
                    fields.key_spot_of("lost_after"),
                    format!("{} never says a word", fields.title),
                    "",
                )
                .because("a board that neither reports nor says that it is there cannot be missed")
                .help("leave `lost_after` out");
            context.push(diagnostic);
            return None;
        }
        return fields.duration(context, "lost_after", Span::from_s(5), Span::from_h(7 * 24)).map(Some);
    }
    Some((reports && !has_alive).then_some(LOST_AFTER))
}

fn alive(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Ear> {
    let alive = inner(context, fields, "alive", "a sign of life", &foreign_keys::ALIVE)?;
    let topic = alive.parsed(context, "topic", address::topic);
    let field = optional(alive.has("field"), || alive.parsed(context, "field", address::pointer));
    let words = words(context, &alive, ["gone", "there"], false);
    Some(Ear { topic: topic?, field: field?, words: words? })
}

fn ask(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Ask> {
    let ask = inner(context, fields, "ask", "a question", &foreign_keys::ASK)?;
    let topic = ask.parsed(context, "topic", address::topic);
    let payload = ask.parsed(context, "payload", word);
    let every = ask.duration(context, "every", OFTEN_MIN, Span::from_h(24));
    Some(Ask { topic: topic?, payload: payload?, every: every? })
}

/// The table behind a key, opened with its own keys.
fn inner<'t>(
    context: &mut Context<'_>,
    fields: &Fields<'t>,
    name: &str,
    a: &str,
    keys: &'static [Key],
) -> Option<Fields<'t>> {
    let node = fields.node(name)?;
    let Value::Table(table) = &node.value else {
        fields.report_type(context, name, node);
        return None;
    };
    Some(Fields::open(context, format!("`{name}` of {}", fields.title), a, node.spot, table, keys))
}

/// True or false; `None` where something else was written.
fn truth(context: &mut Context<'_>, fields: &Fields<'_>, name: &str) -> Option<bool> {
    let node = fields.node(name)?;
    match node.value {
        Value::Truth(truth) => Some(truth),
        _ => {
            fields.report_type(context, name, node);
            None
        }
    }
}
