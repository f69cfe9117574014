//! `proof = { … }` of a load: how it shows that it does what its contact says. It never judges a reading.

use super::super::context::Context;
use super::super::fields::Fields;
use super::super::keys::{Form, Key};
use super::super::tree::Value;
use crate::house::{OnFailure, PortId, Proof, ProofBy, SensorId, State};
use crate::units::Span;

/// The longest `within`: a pump that shows nothing for longer has not started.
const WITHIN_MAX: Span = Span::from_min(10);

const STATE_WORDS: [(&str, State); 2] = [("on", State::On), ("off", State::Off)];
const FAILURE_WORDS: [(&str, OnFailure); 2] = [("alarm", OnFailure::Alarm), ("withdraw", OnFailure::Withdraw)];

pub(super) static PROOF: [Key; 6] = [
    Key::optional(
        "sensor",
        Form::Name("sensor"),
        "\"pump-amps\"",
        "What measures that it runs: its current, flow or pressure. While the sensor is unknown nothing is proved or disproved.",
    ),
    Key::optional(
        "at_least",
        Form::Number,
        "0.2",
        "A reading of at least this proves on, one below proves off; in the sensor's unit. Put it well above what the sensor \
         reads with the load off.",
    )
    .guessed(&["above", "min", "threshold"]),
    Key::optional(
        "input",
        Form::Name("input"),
        "\"pump-flow\"",
        "Instead of a sensor: an on/off contact that shows that it runs, such as a flow switch.",
    ),
    Key::optional(
        "is",
        Form::OneOf(&["on", "off"]),
        "\"on\"",
        "With `input`: the state of the contact that proves on; the other proves off.",
    )
    .or("on"),
    Key::required(
        "within",
        Form::Duration,
        "\"5s\"",
        "So long after a change of its contact the load must have proved it; a proof that is lost later may be away for as \
         long.",
    )
    .guessed(&["timeout", "delay", "after"]),
    Key::optional(
        "on_failure",
        Form::OneOf(&["alarm", "withdraw"]),
        "\"withdraw\"",
        "What follows when it does not prove on: the alarm alone, or the load is withdrawn too, until a person restores it. A \
         load that does not prove off raises the alarm alone: it is ordered off already.",
    )
    .or("alarm"),
];

/// The proof of a load; `Some(None)` where none is written. The port of one by contact is the number of its input until
/// [`number_contacts`].
pub(super) fn proof(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<Option<Proof>> {
    let Some(node) = fields.node("proof") else { return Some(None) };
    let Value::Table(table) = &node.value else {
        fields.report_type(context, "proof", node);
        return None;
    };
    let inner = Fields::open(context, format!("the proof of {}", fields.title), "a proof", node.spot, table, &PROOF);
    let by = by(context, &inner);
    let within = inner.duration(context, "within", Span::from_s(1), WITHIN_MAX);
    let on_failure = inner.word(context, "on_failure", &FAILURE_WORDS);
    Some(Some(Proof { by: by?, within: within?, on_failure: on_failure? }))
}

fn by(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<ProofBy> {
    let strangers: &[&str] = match (fields.has("sensor"), fields.has("input")) {
        (true, false) => &["is"],
        (false, true) => &["at_least"],
        (true, true) => &["input"],
        (false, false) => {
            let diagnostic = context
                .error("missing-key", fields.spot, format!("{} has neither `sensor` nor `input`", fields.title), "")
                .help("name what shows that it runs: sensor = \"pump-amps\", at_least = 0.2, or input = \"pump-flow\"");
            context.push(diagnostic);
            return None;
        }
    };
    if let Some(stranger) = strangers.iter().find(|key| fields.has(key)) {
        let other = if fields.has("sensor") { "sensor" } else { "input" };
        let diagnostic = context
            .error(
                "contradiction",
                fields.key_spot_of(stranger),
                format!("`{stranger}` does not go with `{other}` in {}", fields.title),
                "",
            )
            .help("a sensor proves with `at_least`, an input with `is`; keep one of the two");
        context.push(diagnostic);
        return None;
    }
    if fields.has("input") {
        let input = fields.resolved(context, "input", "input");
        let is = fields.word(context, "is", &STATE_WORDS);
        return Some(ProofBy::Contact { port: PortId(input?), is: is? });
    }
    let sensor = fields.resolved(context, "sensor", "sensor");
    let at_least = at_least(context, fields);
    Some(ProofBy::Reading { sensor: SensorId(sensor?), at_least: at_least? })
}

/// A number in the sensor's unit.
fn at_least(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<f64> {
    if !fields.has("at_least") {
        let diagnostic = context
            .error("missing-key", fields.spot, format!("{} has no `at_least`", fields.title), "")
            .because("nothing says which reading proves that it runs")
            .help("add for example: at_least = 0.2");
        context.push(diagnostic);
    }
    fields.number(context, "at_least")
}

/// Gives proofs by contact their ports, now that all inputs have theirs.
pub(super) fn number_contacts(context: &mut Context<'_>) {
    for load in 0..context.draft.loads.len() {
        let Some(Proof { by: ProofBy::Contact { port: number, is }, within, on_failure }) =
            context.draft.loads[load].as_ref().and_then(|load| load.proof)
        else {
            continue;
        };
        // An input that failed has been reported where it stands.
        let Some((input, _)) = context.draft.inputs.get(number.index()).and_then(Option::as_ref) else { continue };
        let (port, is_key) = (input.port, input.code.is_some());
        let Some(load) = &mut context.draft.loads[load] else { continue };
        load.proof = Some(Proof { by: ProofBy::Contact { port, is }, within, on_failure });
        if is_key {
            let (name, input) = (load.name.clone(), context.names("input")[number.index()]);
            let spot = context.spot_of("load", &name, "proof");
            let diagnostic = context
                .error("wrong-input", spot, format!("input \"{input}\" is a key of a remote, which proves nothing"), "")
                .because("it is pressed and that is all, so it is never on or off")
                .help("name an on/off contact that follows the load, such as a flow switch");
            context.push(diagnostic);
        }
    }
}
