//! How pages look and read: nothing that axe-core finds fault with, light or dark, and no wider than a telephone. The house is
//! the demo's, so that there is something of everything.

use serde_json::Value;

use super::driver::Browser;
use super::support::{Folder, Standfast, TEN_SECONDS, free_port, publish};

/// Where the set-up puts it.
const AXE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/target/axe/axe.min.js");

/// The key as WebDriver names it.
const TAB: &str = "\u{e004}";

/// One page of each kind.
pub const PAGES: &[&str] = &[
    "/",
    "/load/sunroom-fan",
    "/load/cellar-lamp",
    "/load/hen-door",
    "/sensors",
    "/settings",
    "/inputs",
    "/history",
    "/house",
    "/house/waiting",
    "/load/nowhere",
];

/// axe-core.
pub fn axe() -> String {
    std::fs::read_to_string(AXE).expect("axe-core is there; `tests/run` brings it")
}

/// The demo, and what it would leave behind.
pub struct Demo {
    _process: Standfast,
    _folder: Folder,
}

/// The demo, some time after its start: with a load that is withdrawn, one that is held, a stranger's code.
pub fn demo() -> (Demo, String) {
    let folder = Folder::new();
    let (page, broker) = (free_port(), free_port());
    let ports = [page, broker].map(|port| port.to_string());
    let arguments = ["demo", "--speed", "120", "--for", "300s", "--page-port", &ports[0], "--broker-port", &ports[1]];
    let mut demo = Standfast::start_with(&arguments, &[("TMPDIR", folder.path("").as_os_str())]);
    let line = demo.expect_line(|line| line.contains(" --config "), TEN_SECONDS).text;
    let config = line.split_once(" --config ").expect("it is there").1.trim().to_owned();
    // Whichever comes first; cellar, hall, socket and yard are all that can be heard.
    for _ in 0..4 {
        demo.expect_line(|line| line.contains("board ") && line.ends_with(" is heard"), TEN_SECONDS * 3);
    }
    publish(broker, "standfast/hold/cellar-lamp", "on 2h");
    publish(broker, "standfast/from/attic/input/ir", "20DF40BF 7");
    let withdrawn = Standfast::run(&["withdraw", "sunroom-fan", "new bearings", "--config", &config]);
    assert!(withdrawn.status.success(), "{}", String::from_utf8_lossy(&withdrawn.stderr));
    (Demo { _process: demo, _folder: folder }, format!("http://127.0.0.1:{page}"))
}

/// What axe-core finds on the page that is open, a line for each.
pub fn faults(browser: &Browser, axe: &str) -> Vec<String> {
    browser.script(axe);
    let found = browser.script_calling_back(
        "const done = arguments[0];
         axe.run().then((result) => done(result.violations), (error) => done([{ id: String(error), nodes: [] }]));",
    );
    let found = found.as_array().expect("a list");
    let line = |fault: &Value| {
        let nodes = fault["nodes"].as_array().map(Vec::as_slice).unwrap_or_default();
        let first =
            nodes.first().map(|node| format!("{} {}", node["html"], node["failureSummary"])).unwrap_or_default();
        format!("{} ({}): {} times, {first}", fault["id"], fault["help"], nodes.len())
    };
    found.iter().map(line).collect()
}

#[test]
fn axe_finds_no_fault_with_any_page_in_light_or_dark() {
    let axe = axe();
    let (_demo, url) = demo();
    let mut wrong = Vec::new();
    for width in [360, 1280] {
        let browser = Browser::start(width);
        for scheme in ["light", "dark"] {
            browser.prefer(scheme);
            for page in PAGES {
                browser.go(&format!("{url}{page}"));
                browser.script("document.querySelectorAll('details').forEach((details) => { details.open = true; })");
                let faults = faults(&browser, &axe);
                wrong.extend(faults.into_iter().map(|fault| format!("{page} {scheme} at {width}: {fault}")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    // It does look: a picture without words is a fault.
    let browser = Browser::start(360);
    browser.go(&url);
    browser.script("document.querySelector('main').append(Object.assign(new Image(), { src: '/assets/icon.svg' }))");
    assert!(faults(&browser, &axe).iter().any(|fault| fault.contains("image-alt")));
}

#[test]
fn no_page_is_wider_than_a_telephone_and_every_control_can_be_hit() {
    let (_demo, url) = demo();
    let browser = Browser::start(360);
    for page in PAGES {
        browser.go(&format!("{url}{page}"));
        browser.script("document.querySelectorAll('details').forEach((details) => { details.open = true; })");
        let width = browser.script("return document.documentElement.scrollWidth");
        assert!(width.as_u64().is_some_and(|width| width <= 360), "{page} is {width} px wide");
        let pushed = browser.script(
            "const scrolls = (one) => ['auto', 'scroll'].includes(getComputedStyle(one).overflowX);
             return [...document.querySelectorAll('main *')]
                .filter((one) => scrolls(one) && one.scrollWidth > one.clientWidth).map((one) => one.outerHTML)",
        );
        assert_eq!(pushed.as_array().map(Vec::len), Some(0), "{page} has what must be pushed sideways: {pushed}");
        // WCAG 2.2, 2.5.8: targets of 24 px at least; buttons and fields here are taller than that.
        let small = browser.script(
            "return [...document.querySelectorAll('button:not([hidden]), input:not([type=hidden]), select')]
                .filter((one) => one.getBoundingClientRect().height < 40).map((one) => one.outerHTML)",
        );
        assert_eq!(small.as_array().map(Vec::len), Some(0), "{page}: {small}");
    }
}

#[test]
fn everything_is_reached_by_keyboard() {
    let (_demo, url) = demo();
    let browser = Browser::start(360);
    browser.go(&url);
    // Tab by tab: the way past the heading first, then the ways to the pages, then the first load and its hand.
    let mut reached = Vec::new();
    for _ in 0..12 {
        browser.press(TAB);
        let focused = browser.script("return document.activeElement.innerText || document.activeElement.id");
        reached.push(focused.as_str().unwrap_or_default().trim().to_owned());
    }
    assert_eq!(reached[0], "To the page", "{reached:?}");
    assert_eq!(&reached[1..3], ["Loads", "Sensors"], "{reached:?}");
    assert!(reached.iter().any(|text| text.starts_with("Hand")), "{reached:?}");
    let outline = browser.script("return getComputedStyle(document.activeElement).outlineStyle");
    assert_eq!(outline, "solid", "what has the focus shows it");
}
