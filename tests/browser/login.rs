//! A person at a page with a password: sent to the form, refused, let in where they wanted to go, written down with what they
//! do, and out again.

use super::driver::Browser;
use super::live::Scene;
use super::looks::{axe, faults};
use super::support::{Standfast, TEN_SECONDS};

const PASSWORD: &str = "correct horse";

/// The line that `standfast password` makes.
fn hash_line() -> String {
    let mut asking = Standfast::start_typing(&["password"]);
    asking.type_line(PASSWORD);
    asking.expect_line(|line| line.starts_with("password_hash = "), TEN_SECONDS).text
}

#[test]
fn one_logs_in_is_written_down_and_logs_out() {
    let mut scene = Scene::open(&hash_line());
    let browser = Browser::start(360);
    for scheme in ["dark", "light"] {
        browser.prefer(scheme);
        browser.go(&scene.at("/load/lamp"));
        let found = faults(&browser, &axe());
        assert!(found.is_empty(), "{scheme}: {found:?}");
    }
    assert!(browser.url().contains("/login"), "{}", browser.url());
    browser.type_into("#password", "wrong horse");
    browser.follow("button");
    browser.expect(".notice", "not the password");
    browser.type_into("#name", "Ann");
    browser.type_into("#password", PASSWORD);
    browser.follow("button");
    assert_eq!(browser.url(), scene.at("/load/lamp"), "where one wanted to go");
    browser.expect("#link", "Live");
    browser.follow("button[value=on]");
    browser.expect("#notice", "lamp is held on until ");
    scene.board.expect([false, true]);
    browser.expect("#now .account", "held on by Ann on the page");
    browser.follow("form[action='/logout'] button");
    assert!(browser.url().ends_with("/login"), "{}", browser.url());
    browser.go(&scene.at("/"));
    assert!(browser.url().contains("/login"), "{}", browser.url());
}
