//! What is said over the command socket: one JSON object on a line each way. It never interprets a name.

use serde::{Deserialize, Serialize};

use crate::store::Cursor;

/// The socket below the data folder.
pub const SOCKET: &str = "standfast.sock";
/// The longest request, in bytes.
pub const REQUEST_BYTES: usize = 4096;

/// What a person wants.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Request {
    /// Hold a load in a state.
    Hold {
        /// The load's name.
        load: String,
        /// The state: `on` or `off`, of an actuator `open` or `closed`.
        state: String,
        /// How long, as in `2h`, `until 22:30`; the load's own where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        term: Option<String>,
    },
    /// End a load's hold.
    Release {
        /// The load's name.
        load: String,
    },
    /// Take a load out of service.
    Withdraw {
        /// The load's name.
        load: String,
        /// Why.
        #[serde(default)]
        why: String,
    },
    /// Put a load back into service.
    Restore {
        /// The load's name.
        load: String,
        /// Why.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        why: String,
    },
    /// Let a load's safety trips go whose reason is gone.
    Reset {
        /// The load's name.
        load: String,
    },
    /// Note that a person has seen an alarm.
    Acknowledge {
        /// The alarm's id.
        alarm: String,
    },
    /// Turn a selector.
    Select {
        /// The selector's name.
        selector: String,
        /// The position, or `release` for the first one.
        position: String,
        /// How long, as in `3d`, `until 22:30`; until it is turned again where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        term: Option<String>,
    },
    /// Set a setpoint.
    Set {
        /// The setpoint's name.
        setpoint: String,
        /// The value in its unit, or `release` for that of the file.
        value: String,
        /// How long, as in `2h`, `until 22:30`; until the file's value changes where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        term: Option<String>,
    },
    /// Read the house again and run it if it has no errors.
    Apply {
        /// Only say what that would change.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        preview: bool,
    },
    /// Tell how everything is.
    Status,
    /// Tell what was written into the journal.
    Journal {
        /// Only of this load.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        load: Option<String>,
        /// From when on, as in `2h`, `22:30`, `2026-05-12`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        since: Option<String>,
        /// Until when; now where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until: Option<String>,
        /// So many rows at most, the latest.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        limit: Option<u32>,
    },
    /// Tell what sensors said, a page at a time.
    Readings {
        /// Only of this sensor.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sensor: Option<String>,
        /// From when on.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        since: Option<String>,
        /// Until when; now where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until: Option<String>,
        /// The `next` of the page before.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after: Option<Cursor>,
    },
    /// Tell of a board, its relays and their loads.
    Board {
        /// The board.
        board: String,
    },
    /// Tell what boards said lately.
    Seen {
        /// After this number; nothing yet, only the number of the last, where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        after: Option<u64>,
    },
    /// Tell everything that speaks to a load, or what it was and why at a time behind.
    Why {
        /// The load.
        load: String,
        /// When; now where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        at: Option<String>,
    },
    /// Tell for how long loads were on and how often they were switched.
    History {
        /// Only of this load.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        load: Option<String>,
        /// What each row of it is about.
        by: HistoryBy,
        /// From when on.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        since: Option<String>,
        /// Until when; now where it is left out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until: Option<String>,
    },
}

impl Request {
    /// Whether it is to change something, and does not only ask.
    pub fn is_order(&self) -> bool {
        match self {
            Request::Apply { preview } => !preview,
            Request::Status
            | Request::Journal { .. }
            | Request::Readings { .. }
            | Request::Board { .. }
            | Request::Seen { .. }
            | Request::Why { .. }
            | Request::History { .. } => false,
            Request::Hold { .. }
            | Request::Release { .. }
            | Request::Withdraw { .. }
            | Request::Restore { .. }
            | Request::Reset { .. }
            | Request::Acknowledge { .. }
            | Request::Select { .. }
            | Request::Set { .. } => true,
        }
    }
}

/// What a row of a history is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HistoryBy {
    /// A load, over all the time.
    Load,
    /// A load on a day of the site.
    Day,
    /// A load for a reason.
    Reason,
}

/// What became of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Response {
    /// Whether it was done.
    pub outcome: ResponseOutcome,
    /// In words, possibly several lines.
    pub text: String,
    /// Where it was refused, of what kind that is, for programs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refusal: Option<RefusalKind>,
    /// How everything is, where that was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub status: Option<serde_json::Value>,
    /// What was asked for, as data; its shape goes by the request.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub data: Option<serde_json::Value>,
}

/// Whether a request was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ResponseOutcome {
    /// It was.
    Done,
    /// It was understood and refused.
    Refused,
    /// It was not understood, or nobody answered.
    Failed,
}

/// Of what kind a refusal is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RefusalKind {
    /// What is named is not there.
    Unknown,
    /// What was said cannot be read, or means nothing here.
    Malformed,
    /// It was understood and cannot be done now.
    Impossible,
}

/// Why something is refused, in words for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Of what kind it is.
    pub kind: RefusalKind,
    /// What to do instead.
    pub text: String,
}

impl Refusal {
    /// What was said cannot be read.
    pub fn malformed(text: impl Into<String>) -> Refusal {
        Refusal { kind: RefusalKind::Malformed, text: text.into() }
    }
}

impl From<String> for Refusal {
    fn from(text: String) -> Refusal {
        Refusal { kind: RefusalKind::Impossible, text }
    }
}

impl From<&str> for Refusal {
    fn from(text: &str) -> Refusal {
        text.to_owned().into()
    }
}

impl Response {
    /// It was done.
    pub fn done(text: impl Into<String>) -> Response {
        Response { outcome: ResponseOutcome::Done, text: text.into(), refusal: None, status: None, data: None }
    }

    /// Here it is, in words and as data.
    pub fn found(text: impl Into<String>, data: serde_json::Value) -> Response {
        Response { data: Some(data), ..Response::done(text) }
    }

    /// It was refused. A text without a kind is about what was asked, which was understood.
    pub fn refused(refusal: impl Into<Refusal>) -> Response {
        let Refusal { kind, text } = refusal.into();
        Response { outcome: ResponseOutcome::Refused, refusal: Some(kind), ..Response::done(text) }
    }

    /// It could not be dealt with.
    pub fn failed(text: impl Into<String>) -> Response {
        Response { outcome: ResponseOutcome::Failed, text: text.into(), refusal: None, status: None, data: None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(request: &Request, line: &str) {
        assert_eq!(serde_json::to_string(request).expect("written"), line);
        assert_eq!(&serde_json::from_str::<Request>(line).expect("read"), request);
    }

    #[test]
    fn requests_are_lines_that_a_person_can_type() {
        let (load, term) = ("fan".to_owned(), Some("2h".to_owned()));
        check(
            &Request::Hold { load: load.clone(), state: "on".to_owned(), term },
            r#"{"do":"hold","load":"fan","state":"on","term":"2h"}"#,
        );
        check(
            &Request::Hold { load: load.clone(), state: "off".to_owned(), term: None },
            r#"{"do":"hold","load":"fan","state":"off"}"#,
        );
        check(&Request::Release { load }, r#"{"do":"release","load":"fan"}"#);
        let (selector, position) = ("house".to_owned(), "away".to_owned());
        check(
            &Request::Select { selector, position, term: None },
            r#"{"do":"select","selector":"house","position":"away"}"#,
        );
        let (setpoint, value, term) = ("sunroom".to_owned(), "29.5".to_owned(), Some("2h".to_owned()));
        check(
            &Request::Set { setpoint, value, term },
            r#"{"do":"set","setpoint":"sunroom","value":"29.5","term":"2h"}"#,
        );
        check(&Request::Apply { preview: false }, r#"{"do":"apply"}"#);
        check(&Request::Apply { preview: true }, r#"{"do":"apply","preview":true}"#);
        check(&Request::Status, r#"{"do":"status"}"#);
    }

    #[test]
    fn what_is_no_request_is_refused() {
        for line in
            ["", "{}", "[]", r#"{"do":"explode"}"#, r#"{"do":"hold","load":"fan"}"#, r#"{"do":"release","load":1}"#]
        {
            assert!(serde_json::from_str::<Request>(line).is_err(), "{line}");
        }
        assert!(serde_json::from_str::<Request>(r#"{"do":"release","load":"a","for":"2h"}"#).is_err());
    }
}
