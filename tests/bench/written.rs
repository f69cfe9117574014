//! How much is written to disk for Rowan Cottage in a day, through the daemon's own way to the disk, and the size of what is
//! kept: printed for `deploy/README.md`. It asserts nothing of the figures.
//!
//! The house lives on virtual time, and what its engine wants stored goes through the daemon's `Desk` and `Store` to a real
//! file, each write of its own as it would be in a day that takes a day. `/proc/self/io` tells what reached the disk's queue.
//!
//! `cargo bench --bench written`

#[path = "../rowan_cottage/cottage.rs"]
mod cottage;

use std::cell::RefCell;
use std::fs;
use std::path::Path;
use std::rc::Rc;

use cottage::{Cottage, SUMMER, WINTER};
use standfast::daemon::desk::{Desk, Stored};
use standfast::daemon::history::History;
use standfast::engine::{Effect, Engine, Event};
use standfast::store::{DATABASE, Store};
use standfast::units::{BootTime, Span, WallTime};

/// The first day has the start in it and the second is measured.
const DAYS: u64 = 2;

/// What came by.
#[derive(Clone, Copy, Debug, Default)]
struct Count {
    readings: u64,
    rows: u64,
    writes: u64,
}

struct Book {
    /// `None` once it is closed.
    desk: Option<Desk>,
    ticked: BootTime,
    count: Count,
}

impl Book {
    fn hear(&mut self, engine: &Engine, event: &Event, effects: &[Effect]) {
        let Some(desk) = &mut self.desk else { return };
        let now = engine.now();
        if let Event::Reading { sensor, value } = event {
            desk.reading(&engine.house().sensor(*sensor).name, *value, now);
            self.count.readings += 1;
        }
        let (mut saves, mut writes) = (false, false);
        for effect in effects {
            match effect {
                Effect::Record(row) => {
                    desk.row(row.clone(), "4f2c9a1".to_owned());
                    self.count.rows += 1;
                    writes = true;
                }
                Effect::ReserveOrders { board, through } => {
                    desk.store().reserve(board.clone(), *through);
                    writes = true;
                }
                Effect::Save => (saves, writes) = (true, true),
                _ => {}
            }
        }
        drop(desk.close_step(engine, saves));
        if now.boot.since(self.ticked) >= Span::from_s(1) {
            self.ticked = now.boot;
            let Stored { memory, dropped } = desk.tick(engine, now.boot);
            writes |= memory.is_some() || dropped.is_some();
        }
        if writes {
            self.count.writes += 1;
            desk.store().settled().blocking_recv().expect("written");
        }
    }
}

fn written() -> u64 {
    let io = fs::read_to_string("/proc/self/io").expect("Linux tells");
    let line = io.lines().find_map(|line| line.strip_prefix("write_bytes: ")).expect("it tells of writes");
    line.trim().parse().expect("a number")
}

fn measure(name: &str, start: WallTime, folder: &Path) {
    let _ = fs::remove_dir_all(folder);
    let (store, ..) = Store::open(folder).expect("opened");
    let desk = Desk::new(store, History::new(Span::from_h(30 * 24)), None, BootTime(0));
    let book = Rc::new(RefCell::new(Book { desk: Some(desk), ticked: BootTime(0), count: Count::default() }));
    let mut cottage = Cottage::open(start);
    let ear = book.clone();
    cottage.ear = Some(Box::new(move |engine, event, effects| ear.borrow_mut().hear(engine, event, effects)));
    cottage.live(24 * (DAYS - 1));
    let (before, count) = (written(), book.borrow().count);
    cottage.live(24 * DAYS);
    let (after, all) = (written(), book.borrow().count);
    let memory = serde_json::to_string(&cottage.engine.snapshot()).expect("JSON").len();
    book.borrow_mut().desk.take().expect("open").close(&cottage.engine).0.close();
    let file = fs::metadata(folder.join(DATABASE)).expect("there").len();
    println!(
        "| {name} | {} | {} | {} | {:.1} | {:.2} | {:.1} |",
        all.readings - count.readings,
        all.rows - count.rows,
        all.writes - count.writes,
        (after - before) as f64 / 1e6,
        file as f64 / 1e6 / DAYS as f64,
        memory as f64 / 1e3,
    );
    let _ = fs::remove_dir_all(folder);
}

fn main() {
    // Not in /tmp, which may lie in memory.
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("written");
    println!("| a day in | readings | rows | writes | MB written | MB kept | kB of memory |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    measure("January", WINTER, &folder);
    measure("July", SUMMER, &folder);
}
