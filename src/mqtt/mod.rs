//! The MQTT client task and the embedded broker. It never interprets a payload.
