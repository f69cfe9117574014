//! Numbers out of payloads, bare or out of JSON. It knows nothing of units and ranges, and never lets a number through that
//! is not finite.

use super::refusal::{Excerpt, Refusal, bounded_foreign};
use super::scan::text;
use crate::units::Finite;

/// The longest number, in bytes.
pub(super) const NUMBER_BYTES_MAX: usize = 32;

const EXPECTED: &str = "a finite decimal number like 23.4";

/// Reads a bare number: digits with an optional sign, decimal point and exponent (`%g` of C writes one). Blanks round it are
/// not part of it, since number formatting on microcontrollers pads with them.
///
/// # Errors
/// A [`Refusal`] for NaN, infinities, hexadecimal, a decimal comma, anything behind the number, and nothing at all.
pub fn number(payload: &[u8]) -> Result<Finite, Refusal> {
    let text = text(payload)?.trim_matches([' ', '\t', '\r', '\n']);
    if text.is_empty() {
        return Err(Refusal::Empty { expected: EXPECTED });
    }
    parse(text).ok_or_else(|| Refusal::Word { position: 1, found: Excerpt::of(text), expected: EXPECTED })
}

/// Reads a number out of a JSON document, by an RFC 6901 pointer; a string that holds a number counts as one.
///
/// # Errors
/// A [`Refusal`] where the document is too long or no JSON, the pointer leads nowhere, or something else stands there.
pub fn number_in_json(payload: &[u8], pointer: &str) -> Result<Finite, Refusal> {
    number_at(&document(payload)?, pointer)
}

/// The JSON document of a payload outside the contract.
pub(super) fn document(payload: &[u8]) -> Result<serde_json::Value, Refusal> {
    serde_json::from_slice(bounded_foreign(payload)?).map_err(|_| Refusal::NotJson)
}

/// The number at a pointer.
pub(super) fn number_at(document: &serde_json::Value, pointer: &str) -> Result<Finite, Refusal> {
    use serde_json::Value;
    let wrong = |found| Refusal::FieldNotNumber { pointer: Excerpt::of(pointer), found };
    match document.pointer(pointer) {
        None => Err(Refusal::NoField { pointer: Excerpt::of(pointer) }),
        Some(Value::Number(number)) => {
            number.as_f64().and_then(Finite::new).ok_or_else(|| wrong("a number out of bounds"))
        }
        Some(Value::String(text)) => parse(text.trim()).ok_or_else(|| wrong("text")),
        Some(Value::Null) => Err(wrong("null")),
        Some(Value::Bool(_)) => Err(wrong("true or false")),
        Some(Value::Array(_)) => Err(wrong("a list")),
        Some(Value::Object(_)) => Err(wrong("an object")),
    }
}

pub(super) fn parse(text: &str) -> Option<Finite> {
    if text.len() > NUMBER_BYTES_MAX || !is_decimal(text.as_bytes()) {
        return None;
    }
    text.parse::<f64>().ok().and_then(Finite::new)
}

/// `[+-]? (digits [. digits?] | . digits) ([eE] [+-]? digits)?`
fn is_decimal(text: &[u8]) -> bool {
    let unsigned = text.strip_prefix(b"-").or_else(|| text.strip_prefix(b"+")).unwrap_or(text);
    let (mantissa, exponent) = match unsigned.iter().position(|byte| matches!(byte, b'e' | b'E')) {
        Some(at) => (&unsigned[..at], Some(&unsigned[at + 1..])),
        None => (unsigned, None),
    };
    let digits = |part: &[u8]| part.iter().all(u8::is_ascii_digit);
    let mantissa_fits = match mantissa.iter().position(|byte| *byte == b'.') {
        Some(point) => mantissa.len() > 1 && digits(&mantissa[..point]) && digits(&mantissa[point + 1..]),
        None => !mantissa.is_empty() && digits(mantissa),
    };
    let exponent_fits = exponent.is_none_or(|part| {
        let part = part.strip_prefix(b"-").or_else(|| part.strip_prefix(b"+")).unwrap_or(part);
        !part.is_empty() && digits(part)
    });
    mantissa_fits && exponent_fits
}
