//! Databases that daemons of earlier formats left behind: each opens, is brought to the present format and keeps all that was
//! in it, and one that cannot be brought there yet is read as it is.

use std::sync::Arc;

use rusqlite::Connection;
use standfast::engine::{Effect, Engine, Event, Settings, Taken, take};
use standfast::house::House;
use standfast::store::{DATABASE, JournalQuery, Reader};
use standfast::units::{Span, WallTime};
use standfast::wire::{Prefix, Router};

use super::{Kept, Now, open, read_house};

/// The formats there were. Their rows of the journal and their readings are counted in the files.
const FORMATS: [u32; 3] = [1, 2, 3];

fn dump(format: u32) -> String {
    let path = format!("{}/tests/data/store/format-{format}.sql", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn left_behind(format: u32) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let database = Connection::open(folder.path().join(DATABASE)).expect("opens");
    database.execute_batch(&dump(format)).expect("a dump");
    folder
}

/// The house of those days, which the database keeps as the one accepted last.
fn house(kept: &Kept) -> Arc<House> {
    Arc::new(read_house(&kept.accepted.as_ref().expect("one was accepted").files))
}

/// The engine a second later.
fn restored(kept: &Kept) -> Engine {
    let stored = kept.snapshot.clone().expect("a memory");
    let Now { boot, wall, trusted } = stored.taken;
    let later = Now { boot: boot + Span::from_s(1), wall: WallTime(wall.0 + 1000), trusted };
    Engine::restore(house(kept), Settings { settle: Span::from_s(30) }, later, stored.snapshot, true)
}

/// What the board is ordered when the cellar is cool and it reports what it did then: the number, and the relays.
fn ordered(engine: &mut Engine) -> (u32, String) {
    let prefix = Prefix::parse("standfast").expect("a prefix");
    let now = engine.now();
    let mut effects = Vec::new();
    engine.step(now, Event::LinkUp, &mut effects);
    let router = Router::new(engine.house(), prefix);
    for (topic, said) in [("reading/t1", "20"), ("report", "17 500 54 on on off off off")] {
        effects.clear();
        let incoming = router.route(&format!("standfast/from/cellar/{topic}"), said.as_bytes(), false);
        take(incoming.expect("it is used"), 1, &mut |taken| match taken {
            Taken::Event(event) => engine.step(now, event, &mut effects),
            Taken::Refused(why) => panic!("{why}"),
        });
    }
    let orders = effects.iter().rev().find_map(|effect| match effect {
        Effect::SendOrders { orders, .. } => Some(orders.to_string()),
        _ => None,
    });
    let orders = orders.expect("a report is answered");
    let words: Vec<&str> = orders.splitn(5, ' ').collect();
    (words[0].parse().expect("a number"), words[4].to_owned())
}

fn check(format: u32) {
    let folder = left_behind(format);
    let (store, kept, _) = open(folder.path());
    assert!(kept.notices.is_empty() && kept.left_open.is_none(), "{format}: {kept:?}");
    assert_eq!(kept.reserved.get("cellar"), Some(&1001), "{format}");
    let alarms: Vec<&str> = kept.told.keys().map(String::as_str).collect();
    let told: &[&str] = if format < 2 { &[] } else { &["house", "trip-heater-trips"] };
    assert_eq!(alarms, told, "{format}");
    let mut engine = restored(&kept);
    let (number, orders) = ordered(&mut engine);
    assert!(number > 1001, "format {format}: up to 1001 may have been given, and {number} is next");
    assert_eq!(orders, "on on off off off", "{format}");
    let house = engine.house().clone();
    let says = |load: &str, part: &str| {
        let id = house.load_named(load).expect("a load");
        let said = engine.account(id);
        assert!(said.contains(part), "format {format}, {load}: {said}");
    };
    says("lamp", "held on by a command of root until");
    says("towel-rail", "withdrawn (new thermostat)");
    says("heater", "safety trip heater-trips has tripped and waits for a reset by hand");
    says("fan", "min on keeps it on for");
    says("pump", "it started as often as it may; the next start is free in 23h59m");
    let alarms: Vec<(&str, bool)> =
        engine.alarms().iter().map(|(id, alarm)| (id.as_str(), alarm.acknowledged)).collect();
    assert_eq!(alarms, [("house", true), ("trip-heater-trips", false)], "{format}");
    let journal = Reader::open(store.database())
        .expect("opens")
        .journal(&JournalQuery { limit: 1000, ..JournalQuery::default() });
    let rows = dump(format).lines().filter(|line| line.starts_with("INSERT INTO \"journal\"")).count();
    assert!(rows > 15 && journal.expect("reads").len() == rows, "format {format}: {rows} rows");
    assert_eq!(super::readings(folder.path()).len(), if format < 3 { 0 } else { 3 }, "{format}");
    store.close();
    let database = Connection::open(folder.path().join(DATABASE)).expect("opens");
    let found: u32 = database.query_row("PRAGMA user_version", [], |row| row.get(0)).expect("read");
    assert!(found > format, "format {format} became {found}");
}

#[test]
fn every_earlier_format_opens_and_keeps_all_that_was_in_it() {
    FORMATS.into_iter().for_each(check);
}

/// A new format comes with what the daemons of the one before left behind.
#[test]
fn no_format_is_left_out() {
    let folder = tempfile::tempdir().expect("a folder");
    open(folder.path()).0.close();
    let database = Connection::open(folder.path().join(DATABASE)).expect("opens");
    let present: u32 = database.query_row("PRAGMA user_version", [], |row| row.get(0)).expect("read");
    assert_eq!(FORMATS.into_iter().collect::<Vec<u32>>(), (1..present).collect::<Vec<u32>>());
}
