//! A person before the page: what changes shows, a hand is taken and given back, the reason is there, and the page comes back
//! after the daemon did.

use super::driver::Browser;
use super::home::{Board, Home};
use super::support::{Broker, Standfast, free_port};

/// A daemon with a page, its broker and its board.
pub struct Scene {
    // Ended first, since it makes its folder anew.
    pub daemon: Standfast,
    pub board: Board,
    pub home: Home,
    _broker: Broker,
    pub url: String,
}

impl Scene {
    pub fn open(keys: &str) -> Scene {
        let (broker, port) = (Broker::start(), free_port());
        let home =
            Home::new(broker.port(), &format!("apply = \"save\"\n[page]\nlisten = \"127.0.0.1:{port}\"\n{keys}"));
        let daemon = home.run();
        let board = home.live_board();
        Scene { _broker: broker, home, daemon, board, url: format!("http://127.0.0.1:{port}") }
    }

    pub fn at(&self, path: &str) -> String {
        format!("{}{path}", self.url)
    }
}

#[test]
fn a_load_changes_before_ones_eyes_and_says_why() {
    let mut scene = Scene::open("");
    let browser = Browser::start(360);
    browser.go(&scene.at("/"));
    browser.expect("#link", "Live");
    browser.expect("#now-fan .account", "rule fan-when-hot cannot tell");
    scene.home.say("from/yard/reading/t1", "21.5");
    browser.expect("#now-fan .account", "on when sunroom-air, now 21.5 °C, reaches 28 (rule fan-when-hot)");
    scene.home.say("from/yard/reading/t1", "28.1");
    scene.board.expect([true, false]);
    browser.expect("#now-fan .word", "on");
    browser
        .expect("#now-fan .account", "when sunroom-air 28.1 °C reached 28; now 28.1; off at 26.5 (rule fan-when-hot)");
    scene.home.say("from/yard/reading/t1", "27.2");
    browser.expect("#now-fan .account", "28.1 °C reached 28; now 27.2; off at 26.5");
    let figure = browser.script("return document.querySelector('#now-fan svg[role=img]').getAttribute('aria-label')");
    assert!(figure.as_str().is_some_and(|words| words.contains("Timing of fan")), "{figure}");
}

#[test]
fn a_hand_is_taken_understood_and_given_back() {
    let mut scene = Scene::open("");
    scene.home.say("from/yard/reading/t1", "28.1");
    scene.board.expect([true, false]);
    let browser = Browser::start(360);
    browser.go(&scene.at("/"));
    browser.click("#load-fan summary");
    browser.type_into("#said-fan", "1h");
    browser.follow("#load-fan button[value=off]");
    browser.expect("#notice", "fan is held off until ");
    scene.board.expect([false, false]);
    browser.expect("#now-fan .word", "off");
    browser.expect("#now-fan .account", "held off by the page");
    browser.expect("#now-fan .marks", "rule fan-when-hot wants on and loses");
    browser.follow("#now-fan h3 a");
    browser.expect("#why .slots", "decides");
    browser.expect("#why .rules", "sunroom-air is 28.1 °C");
    // What is no end is refused, and what to write instead is said.
    browser.type_into("#said-fan", "sometime");
    browser.follow("button[value=on]");
    browser.expect("#notice", "Refused");
    browser.expect("#notice", "next change");
    browser.follow("button[value=auto]");
    browser.expect("#notice", "fan is released");
    scene.board.expect([true, false]);
    browser.expect("#now .account", "when sunroom-air was 28.1 °C; now 28.1; off at 26.5");
    browser.expect("#did", "released by hand");
}

#[test]
fn the_enter_key_after_words_switches_nothing() {
    let scene = Scene::open("");
    scene.home.folder.write("rules/more.toml", "[selector.house]\npositions = [\"lived-in\", \"away\"]\n");
    assert_eq!(scene.home.ask(&["apply"]).code, 0);
    let browser = Browser::start(360);
    browser.go(&scene.at("/load/lamp"));
    browser.type_into("#said-lamp", "1h\u{e007}");
    browser.follow("button[value=off]");
    browser.expect("#notice", "lamp is held off until ");
    browser.expect("#did", "lamp held off by the page");
    assert!(!browser.text("#did").contains("held on"), "{}", browser.text("#did"));
    browser.go(&scene.at("/settings"));
    browser.type_into("#said-selector-house", "3d\u{e007}");
    browser.follow("button[value=away]");
    browser.expect("#notice", "selector house is away until ");
    let turned = scene.home.ask(&["log"]).out;
    assert!(turned.contains("away") && !turned.contains("lived-in"), "{turned}");
}

#[test]
fn out_of_service_and_back_and_no_isolation() {
    let scene = Scene::open("");
    let browser = Browser::start(1280);
    browser.go(&scene.at("/load/lamp"));
    browser.type_into("#why-lamp", "flickers");
    browser.follow("button[value=withdraw]");
    browser.expect("#notice", "no isolation");
    browser.expect("#now .account", "withdrawn (flickers); this is no isolation");
    browser.go(&scene.at("/"));
    browser.expect("#now-lamp .marks", "withdrawn, not isolated");
    browser.go(&scene.at("/load/lamp"));
    browser.follow("button[value=restore]");
    browser.expect("#notice", "lamp is back in service");
}

#[test]
fn an_alarm_is_on_top_until_it_is_acknowledged() {
    let mut scene = Scene::open("");
    let browser = Browser::start(360);
    browser.go(&scene.at("/sensors"));
    browser.expect("#link", "Live");
    assert_eq!(browser.text("#alarms"), "");
    scene.home.say("from/yard/life", &format!("death {}", scene.board.boot));
    browser.expect("#alarms", "board \"yard\" is not heard");
    browser.expect("#alarms h2", "1 not acknowledged");
    browser.follow("#alarms button");
    browser.expect("#notice", "alarm board-yard is acknowledged");
    assert!(browser.url().contains("/sensors?said="), "back where one was: {}", browser.url());
    browser.expect("#alarms h2", "all acknowledged");
    scene.board.birth();
    scene.board.report();
    browser.expect("#state", "As of");
    browser.script_calling_back(
        "const done = arguments[0];
         const look = () => { if (!document.querySelector('#alarms li')) { watch.disconnect(); done(true); } };
         const watch = new MutationObserver(look);
         watch.observe(document, { subtree: true, childList: true });
         look();",
    );
}

#[test]
fn of_many_alarms_three_are_open_and_the_others_a_key_away() {
    let mut scene = Scene::open("");
    let board = |number: u32| {
        let input = format!("[input.i{number}]\nat = \"b{number}/x\"\ntoggles = \"lamp\"\n");
        format!("[board.b{number}]\nrelays = 1\nlease = \"5s\"\n{input}")
    };
    let trip = "[rule.far-too-hot]\nload = \"lamp\"\ndemand = \"off\"\npriority = 2\nreset = \"manual\"\n\
                while = { sensor = \"sunroom-air\", cut_in = \">= 50\", cut_out = \"<= 45\" }\n";
    scene.home.folder.write("rules/more.toml", trip);
    assert_eq!(scene.home.ask(&["apply"]).code, 0);
    scene.home.say("from/yard/reading/t1", "55");
    scene.board.expect([true, false]);
    let browser = Browser::start(360);
    browser.go(&scene.at("/"));
    browser.expect("#alarms h2", "1 alarm, 1 not acknowledged");
    // Boards that are never heard, later than the trip.
    scene.home.folder.write("rules/more.toml", &(1..=5).map(board).chain([trip.to_owned()]).collect::<String>());
    assert_eq!(scene.home.ask(&["apply"]).code, 0);
    browser.expect("#alarms h2", "6 alarms, 6 not acknowledged");
    browser.expect("#alarms li", "safety trip \"far-too-hot\" has tripped");
    let shown = "return [...document.querySelectorAll('#alarms li')].filter((one) => one.checkVisibility()).length";
    assert_eq!(browser.script(shown), 3);
    browser.expect("#more-alarms summary", "3 more alarms, 3 not acknowledged");
    browser.script("document.querySelector('#more-alarms summary').focus()");
    browser.press("\u{e007}");
    assert_eq!(browser.script(shown), 6);
    // What is new shows all the same, with the fold open and the focus where it was.
    assert_eq!(scene.home.ask(&["acknowledge", "board-b1"]).code, 0);
    browser.expect("#alarms h2", "6 alarms, 5 not acknowledged");
    assert_eq!(browser.script(shown), 6);
    assert_eq!(browser.script("return document.activeElement.parentElement.id"), "more-alarms");
}

#[test]
fn the_page_says_that_it_is_cut_off_and_comes_back_with_the_daemon() {
    let mut scene = Scene::open("");
    scene.home.say("from/yard/reading/t1", "28.1");
    scene.board.expect([true, false]);
    let browser = Browser::start(360);
    browser.go(&scene.at("/"));
    browser.expect("#link", "Live");
    browser.expect("#now-fan .word", "on");
    scene.daemon.kill();
    browser.expect("#link", "No connection");
    scene.daemon = scene.home.run();
    scene.board = scene.board.again(&scene.home);
    scene.board.report();
    browser.expect("#link", "Live");
    scene.home.say("from/yard/reading/t1", "26.4");
    scene.board.expect([false, false]);
    browser.expect("#now-fan .word", "off");
}

#[test]
fn with_scripts_off_everything_but_live_updates_works() {
    let mut scene = Scene::open("");
    let browser = Browser::start(360);
    browser.without_scripts();
    browser.go(&scene.at("/"));
    assert!(browser.text("#state").contains("As of"), "{}", browser.text("#state"));
    browser.click("#load-lamp summary");
    browser.follow("#load-lamp button[value=on]");
    browser.expect("#notice", "lamp is held on until ");
    scene.board.expect([false, true]);
    browser.go(&scene.at("/load/lamp"));
    assert!(browser.text("#now .account").starts_with("on since "), "{}", browser.text("#now .account"));
    browser.follow("button[value=auto]");
    scene.board.expect([false, false]);
}
