//! Why a link ended, in words for a log. It never decides whether to try again.

use rumqttc::v5::mqttbytes::Error as MqttError;
use rumqttc::v5::mqttbytes::v5::{ConnectReturnCode, DisconnectReasonCode};
use rumqttc::v5::{ConnectionError, StateError};

/// Whether another client with the same id has taken the session, upon which nobody may come back.
pub fn is_taken_over(error: &ConnectionError) -> bool {
    let taken = DisconnectReasonCode::SessionTakenOver;
    matches!(error, ConnectionError::MqttState(StateError::ServerDisconnect { reason_code, .. }) if *reason_code == taken)
}

/// What to tell a person about a failed link.
pub fn why(error: &ConnectionError) -> String {
    match error {
        ConnectionError::Io(io) => plain_io(io),
        ConnectionError::Timeout(_) => "no answer to the connect within 5 s".to_owned(),
        ConnectionError::ConnectionRefused(code) => refused(*code),
        ConnectionError::Tls(tls) => format!("TLS: {tls}"),
        ConnectionError::MqttState(StateError::Io(io) | StateError::Deserialization(MqttError::Io(io))) => plain_io(io),
        ConnectionError::MqttState(StateError::ConnectionAborted) => "the broker closed the connection".to_owned(),
        ConnectionError::MqttState(StateError::AwaitPingResp) => "the broker no longer answers pings".to_owned(),
        ConnectionError::MqttState(StateError::ServerDisconnect { reason_code, reason_string }) => {
            let said = reason_string.as_deref().map(|said| format!(": {said}")).unwrap_or_default();
            format!("the broker disconnected us ({reason_code:?}{said})")
        }
        other => other.to_string(),
    }
}

fn plain_io(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::ConnectionRefused => "connection refused".to_owned(),
        std::io::ErrorKind::ConnectionReset => "the broker closed the connection".to_owned(),
        _ => error.to_string(),
    }
}

fn refused(code: ConnectReturnCode) -> String {
    match code {
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
            "the broker refuses the user name or password".to_owned()
        }
        ConnectReturnCode::UnsupportedProtocolVersion | ConnectReturnCode::RefusedProtocolVersion => {
            "the broker does not speak MQTT 5".to_owned()
        }
        other => format!("the broker refuses the connection ({other:?})"),
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Error, ErrorKind};

    use super::*;

    #[test]
    fn a_connection_that_ends_is_told_alike_wherever_that_is_noticed() {
        let reset = || Error::from(ErrorKind::ConnectionReset);
        for error in [
            ConnectionError::Io(reset()),
            ConnectionError::MqttState(StateError::Io(reset())),
            ConnectionError::MqttState(StateError::Deserialization(MqttError::Io(reset()))),
            ConnectionError::MqttState(StateError::ConnectionAborted),
        ] {
            assert_eq!(why(&error), "the broker closed the connection");
        }
    }
}
