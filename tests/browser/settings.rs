//! Selectors and setpoints by the buttons of their page: from the page to the engine and the contacts, and back on the page.

use super::driver::Browser;
use super::home::{HOUSE, MODES};
use super::live::Scene;

/// The lamp is on while the house is left.
const RULE: &str = r#"
[rule.lamp-when-away]
load = "lamp"
demand = "on"
while = { selector = "house", is = "away" }
"#;

/// Which buttons are pressed, by their words.
fn pressed(browser: &Browser) -> String {
    let script =
        "return [...document.querySelectorAll('button[aria-pressed=true]')].map((one) => one.innerText).join(',')";
    browser.script(script).as_str().expect("a text").to_owned()
}

#[test]
fn a_selector_and_a_setpoint_are_turned_with_an_end_and_put_back() {
    let mut scene = Scene::open("");
    // The fan turns at the setpoint.
    let house = HOUSE
        .replace("cut_in = \">= 28.0\", cut_out = \"<= 26.5\"", "cut_in = \">= warm\", cut_out = \"<= warm - 1.5\"");
    assert_ne!(house, HOUSE);
    scene.home.folder.write("rules/modes.toml", &format!("{MODES}{RULE}"));
    scene.home.folder.write("rules/house.toml", &house);
    assert_eq!(scene.home.ask(&["apply"]).code, 0);
    scene.home.say("from/yard/reading/t1", "27");
    let browser = Browser::start(360);
    browser.go(&scene.at("/settings"));
    browser.expect("#link", "Live");
    browser.expect("#setpoint-warm", "28 °C");
    assert_eq!(pressed(&browser), "lived-in");
    // As a keyboard of the continent types it.
    browser.script("document.querySelector('#value-warm').value = ''");
    browser.type_into("#value-warm", "26,5");
    browser.type_into("#said-setpoint-warm", "22:30");
    browser.follow("button[value=set]");
    browser.expect("#notice", "Done: setpoint warm is 26.5 °C until 22:30 to");
    scene.board.expect([true, false]);
    browser.expect("#setpoint-warm", "26.5 °C");
    browser.expect("#setpoint-warm", "by the page");
    browser.expect("#setpoint-warm", "22:30");
    browser.type_into("#said-selector-house", "3d");
    browser.follow("button[value=away]");
    browser.expect("#notice", "Done: selector house is away until ");
    scene.board.expect([true, true]);
    browser.expect("#selector-house", "away");
    browser.expect("#selector-house", "by the page");
    browser.expect("#selector-house", "until");
    assert_eq!(pressed(&browser), "away");
    let told = scene.home.ask(&["status", "--json"]).out;
    let told: serde_json::Value = serde_json::from_str(&told).expect("one document");
    assert_eq!(
        (&told["selectors"][0]["position"], &told["setpoints"][0]["value"]),
        (&"away".into(), &26.5.into()),
        "{told}"
    );
    assert!(
        told["selectors"][0]["set"]["until"].is_string() && told["setpoints"][0]["set"]["until"].is_string(),
        "{told}"
    );
    // What cannot be is refused, and nothing is turned.
    browser.script("document.querySelector('#value-warm').value = '99'");
    browser.follow("button[value=set]");
    browser.expect("#notice", "Refused: ");
    browser.expect("#notice", "32");
    browser.expect("#setpoint-warm", "26.5 °C");
    // Back, each by its own button: the threshold that moved forgets, so that the fan stops within its deadband.
    browser.follow("button[value=release]");
    browser.expect("#notice", "Done: setpoint warm is back at its value in the file");
    scene.board.expect([false, true]);
    browser.expect("#setpoint-warm", "28 °C");
    browser.follow("button[value=lived-in]");
    browser.expect("#notice", "Done: selector house is lived-in until it is turned again");
    scene.board.expect([false, false]);
    assert_eq!(pressed(&browser), "lived-in");
    // Turned from elsewhere, it shows without a hand on the page.
    assert_eq!(scene.home.ask(&["select", "house", "away", "2h"]).code, 0);
    browser.expect("#selector-house", "away");
}
