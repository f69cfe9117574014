//! What to write where a value has the wrong type: the same value in the form that the key wants, if that can be told. It never
//! changes what was written.

use super::context::Context;
use super::fields::clip;
use super::keys::{Form, Key};
use super::tree::{Node, Value};

/// What to write where a value has the wrong type: the same in quotes if that would do, else the example.
pub(super) fn instead(context: &Context<'_>, key: &Key, node: &Node) -> String {
    let written = context.text(node.spot);
    let quoted = match (key.form, &node.value) {
        (Form::OneOf(words), Value::Truth(truth)) if words.contains(&"on") => Some(if *truth { "on" } else { "off" }),
        (Form::OneOf(words), _) => words.iter().find(|word| **word == written).copied(),
        (Form::Text | Form::Name(_), Value::Whole(_) | Value::Decimal(_) | Value::Truth(_) | Value::Date) => {
            Some(written)
        }
        (Form::WindowEnd, Value::Date) => Some(written),
        _ => None,
    };
    if let (Form::Whole, Value::Text(text)) = (key.form, &node.value)
        && text.parse::<i64>().is_ok()
    {
        return format!("write it without quotes: {} = {text}", key.name);
    }
    if let Some(word) = quoted {
        return format!("write {} = \"{word}\"", key.name);
    }
    match (key.form, &node.value) {
        (Form::Names(_) | Form::Texts, Value::Text(text)) if !text.is_empty() => {
            let quote = |part: &str| format!("\"{}\"", clip(part.trim()));
            let quoted: Vec<String> = text.split([',', ';']).map(quote).collect();
            return format!("write {} = [{}]", key.name, quoted.join(", "));
        }
        (Form::Name(section), Value::List(items)) if items.len() > 1 => {
            return format!("name one {section}; write a table for each of the others");
        }
        (Form::Days, Value::List(items)) if !items.is_empty() => {
            let days: Vec<&str> = items.iter().map(|day| context.text(day.spot).trim_matches(['"', '\''])).collect();
            return format!("write {} = \"{}\"", key.name, clip(&days.join(",")));
        }
        (Form::Relay | Form::Endpoint | Form::Name(_) | Form::OneOf(_), Value::List(items))
            if items.len() == 1 && matches!(items[0].value, Value::Text(_)) =>
        {
            return format!("write it without brackets: {} = {}", key.name, clip(context.text(items[0].spot)));
        }
        _ => {}
    }
    let number = matches!(node.value, Value::Whole(_) | Value::Decimal(_));
    match key.form {
        Form::Duration if number => {
            format!("say which: {0} = \"{written}s\" for seconds, \"{written}m\" for minutes", key.name)
        }
        Form::Power if number => format!("write {} = \"{written} W\"", key.name),
        Form::Current if number => format!("write {} = \"{written} A\"", key.name),
        Form::Resistance if number => {
            format!("say which: {0} = \"{written} Ω\" or {0} = \"{written} kΩ\"", key.name)
        }
        Form::Voltage if number => format!("write {} = \"{written} V\"", key.name),
        Form::Comparison if number => {
            format!("write {0} = \">= {written}\" or {0} = \"<= {written}\"", key.name)
        }
        _ => format!("write for example: {} = {}", key.name, key.example),
    }
}
