//! Topics of sensors that lie among Standfast's own: there readings of boards go by `reading`, and nothing else is a number.

use super::Subject;
use crate::diagnostic::Diagnostic;
use crate::house::Source;

/// The prefix that Standfast's topics have where the server's file names no other.
const PREFIX: &str = "standfast/";

pub(super) fn find(subject: &Subject<'_>) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for sensor in &subject.house.sensors {
        let Source::Topic { topic, .. } = &sensor.source else { continue };
        let Some(rest) = topic.strip_prefix(PREFIX) else { continue };
        let help = match rest.strip_prefix("from/").and_then(|rest| rest.split_once("/reading/")) {
            Some((board, reading)) => format!("write reading = \"{board}/{reading}\" instead of `topic`"),
            None => "name the topic of the thing that measures".to_owned(),
        };
        let message = format!("sensor \"{}\" listens among Standfast's own topics", sensor.name);
        let diagnostic = Diagnostic::warning("own-topic", message)
            .because("readings of boards have checks of their own, which `topic` goes round")
            .help(help);
        found.push(subject.at(diagnostic, "sensor", &sensor.name, "topic", ""));
    }
    found
}
