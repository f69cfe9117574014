//! The page of history: hours, energy and switchings by load, by day and by reason, and the journal. It never counts itself.

use maud::{Markup, html};
use serde_json::Value;

use super::gather::Shown;
use crate::syntax::capital;

/// What is asked for, as it stands in the address.
#[derive(Clone, Debug, Default, serde::Deserialize)]
pub struct Question {
    /// Only of this load; of all where it is empty.
    #[serde(default)]
    pub load: String,
    /// From when on, as on the command line; a day ago where it is empty.
    #[serde(default)]
    pub since: String,
    /// Until when; now where it is empty.
    #[serde(default)]
    pub until: String,
}

/// What the daemon answered.
#[derive(Clone, Debug, Default)]
pub struct Found {
    /// By load, over all the time.
    pub by_load: Vec<Value>,
    /// By load and day.
    pub by_day: Vec<Value>,
    /// By load and reason.
    pub by_reason: Vec<Value>,
    /// The rows of the journal: when and what, the latest first.
    pub journal: Vec<(String, String)>,
    /// Why it could not be told.
    pub refused: Option<String>,
}

/// The page.
pub fn main(shown: &Shown, question: &Question, found: &Found) -> Markup {
    let label = |name: &str| shown.house().load_named(name).map(|id| capital(&shown.house().load(id).label));
    html! {
        form.question method="get" action="/history" {
            div.ends {
                div.field {
                    label for="load" { "Load" }
                    select #load name="load" {
                        option value="" { "all" }
                        @for load in &shown.house().loads {
                            option value=(load.name) selected[load.name == question.load] { (capital(&load.label)) }
                        }
                    }
                }
                div.field {
                    label for="since" { "Since" }
                    input #since name="since" value=(question.since) maxlength="40" placeholder="7d, 22:30, 2026-05-12"
                        autocomplete="off";
                }
                div.field {
                    label for="until" { "Until" }
                    input #until name="until" value=(question.until) maxlength="40" placeholder="now" autocomplete="off";
                }
            }
            button type="submit" { "Show" }
        }
        @if let Some(why) = &found.refused { p.notice.refused role="status" { (why) } }
        @else {
            (table("Each load", None, &found.by_load, &label))
            p.small {
                "Of an actuator: how long it was driven, and its runs. Of a rotation: what its members did together, which "
                "stands in their own rows too."
            }
            (table("By day", Some("Day"), &found.by_day, &label))
            (table("By reason", Some("Reason"), &found.by_reason, &label))
            section aria-labelledby="journal" {
                h2 #journal { "Journal" }
                @if found.journal.is_empty() { p { "Nothing is written there." } }
                ol.journal { @for (at, text) in &found.journal { li { time { (at) } " " (text) } } }
            }
        }
    }
}

fn table(heading: &str, by: Option<&str>, rows: &[Value], label: &dyn Fn(&str) -> Option<String>) -> Markup {
    let id = heading.to_lowercase().replace(' ', "-");
    let has = |field: &str| rows.iter().any(|row| !row[field].is_null());
    let (has_life, has_all) = (has("life_share"), has("life_used"));
    html! {
        section aria-labelledby=(id) {
            h2 id=(id) { (heading) }
            @if rows.is_empty() { p { "Nothing was on." } }
            @else {
                div.scroll tabindex="0" role="region" aria-label={ "Table: " (heading) } {
                    table {
                        thead {
                            tr {
                                th scope="col" { "Load" }
                                @if let Some(by) = by { th scope="col" { (by) } }
                                th.number scope="col" { "Hours on" }
                                th.number scope="col" { "kWh" }
                                th.number scope="col" { "Switched on" }
                                @if has_life { th.number scope="col" { "Contact life" } }
                                @if has_all { th.number scope="col" { "Life used in all" } }
                            }
                        }
                        tbody {
                            @for row in rows {
                                @let name = row["load"].as_str().unwrap_or_default();
                                tr {
                                    th scope="row" { a href={ "/load/" (name) } { (label(name).unwrap_or(name.to_owned())) } }
                                    @if let Some(by) = by { td data-label=(by) { (row["by"].as_str().unwrap_or_default()) } }
                                    td.number data-label="Hours on" { (number(&row["on_h"], 2)) }
                                    td.number data-label="kWh" { (number(&row["energy_kwh"], 2)) }
                                    td.number data-label="Switched on" { (row["closings"]) }
                                    @if has_life { td.number data-label="Contact life" { (share(&row["life_share"])) } }
                                    @if has_all { td.number data-label="Life used in all" { (share(&row["life_used"])) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// A number with so many decimals, a dash where there is none.
pub fn number(value: &Value, places: usize) -> String {
    value.as_f64().map_or("–".to_owned(), |value| format!("{value:.places$}"))
}

/// `1.46 h`, `12 min`, `17 s`: a motor that drives a door runs for seconds.
pub fn hours(value: &Value) -> String {
    match value.as_f64() {
        Some(hours) if hours > 0.0 && hours < 1.0 / 60.0 => format!("{:.0} s", hours * 3600.0),
        Some(hours) if hours > 0.0 && hours < 1.0 => format!("{:.0} min", hours * 60.0),
        _ => format!("{} h", number(value, 2)),
    }
}

/// A share of a contact's life in percent, a dash where there is none.
fn share(value: &Value) -> String {
    value.as_f64().map_or("–".to_owned(), share_words)
}

/// `0.12 %`
pub fn share_words(share: f64) -> String {
    match share * 100.0 {
        least if least > 0.0 && least < 0.005 => "under 0.01 %".to_owned(),
        percent => format!("{percent:.2} %"),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn check(said: String, expected: &str) {
        assert_eq!(said, expected);
    }

    #[test]
    fn small_numbers_are_not_told_as_nothing() {
        check(hours(&json!(1.456)), "1.46 h");
        check(hours(&json!(0.2)), "12 min");
        check(hours(&json!(0.0047)), "17 s");
        check(hours(&json!(0.0)), "0.00 h");
        check(share_words(0.0012), "0.12 %");
        check(share_words(0.000_001), "under 0.01 %");
        check(share_words(0.0), "0.00 %");
    }
}
