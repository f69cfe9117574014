//! `[site]`: position, zone, stagger. It never looks up a zone anywhere but in the database that was handed in.

use super::super::context::{Context, Item};
use super::super::fields::{Fields, Refused, clip};
use super::super::keys::{Form, Key, Section};
use super::super::near::nearest_zone;
use crate::house::Site;
use crate::units::Span;

pub(super) static SITE: Section = Section {
    word: "site",
    a: "the site",
    named: None,
    meaning: "Where the house stands, for the sun and the clock.",
    keys: &[
        Key::required("position", Form::Pair, "[54.60, -3.14]", "Sunrise and sunset are computed for this place.")
            .guessed(&["location", "latitude", "longitude"])
            .unit("degrees north, degrees east"),
        Key::required("zone", Form::Text, "\"Europe/London\"", "Clock times are meant in this IANA time zone.")
            .guessed(&["timezone", "time_zone", "tz"]),
        Key::optional(
            "stagger",
            Form::Duration,
            "\"300ms\"",
            "The pause between closings after a start or a reconnect, so that loads do not all start at once.",
        )
        .or("300ms"),
    ],
    is_condition: false,
    example: "[site]\nposition = [54.60, -3.14]\nzone = \"Europe/London\"\n",
    decode,
    after: None,
};

fn decode(context: &mut Context<'_>, _: &Item<'_>, fields: &Fields<'_>) {
    let position = position(context, fields);
    let zones = context.zones;
    let zone = fields.parsed(context, "zone", |text| {
        zones.get(text).map(|zone| (text.to_owned(), zone)).map_err(|_| unknown_zone(zones, text))
    });
    let stagger = fields.duration(context, "stagger", Span::ZERO, Span::from_min(1));
    let (Some((latitude, longitude)), Some((zone_name, zone)), Some(stagger)) = (position, zone, stagger) else {
        return;
    };
    context.draft.site = Some(Site { latitude, longitude, zone_name, zone, stagger });
}

fn position(context: &mut Context<'_>, fields: &Fields<'_>) -> Option<(f64, f64)> {
    let (north, east) = fields.pair(context, "position")?;
    let help = if north.abs() <= 90.0 && east.abs() <= 180.0 {
        return Some((north, east));
    } else if north.abs() <= 180.0 && east.abs() <= 90.0 {
        format!("degrees north come first: did you mean [{east}, {north}]?")
    } else {
        "write degrees north (-90 to 90), then degrees east (-180 to 180; west is negative)".to_owned()
    };
    let spot = fields.spot_of("position");
    let diagnostic = context.error("out-of-bounds", spot, "`position` is not on the globe", "").help(help);
    context.push(diagnostic);
    None
}

fn unknown_zone(zones: &jiff::tz::TimeZoneDatabase, text: &str) -> Refused {
    let cause = format!("there is no time zone \"{}\"", clip(text));
    match nearest_zone(zones, text) {
        Some(near) => Refused::new(cause, format!("did you mean \"{near}\"?")),
        None => Refused::new(cause, "write its IANA name, such as \"Europe/London\""),
    }
}
