//! Pages of strangers: none of them changes anything here.

use std::io::{Read, Write};
use std::net::TcpListener;
use std::thread;

use super::driver::Browser;
use super::live::Scene;

/// Serves one page on a port of its own, from another origin, until the test ends.
fn stranger(page: String) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = listener.local_addr().expect("it is bound").port();
    thread::spawn(move || {
        for stream in listener.incoming() {
            let Ok(mut stream) = stream else { return };
            let mut request = [0; 4096];
            // One page, whatever is asked.
            let _ = stream.read(&mut request);
            let head = format!("HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: {}\r\n", page.len());
            let _ = stream.write_all(format!("{head}Connection: close\r\n\r\n{page}").as_bytes());
        }
    });
    port
}

#[test]
fn a_form_on_a_page_of_another_origin_is_refused() {
    let mut scene = Scene::open("");
    let form = format!(
        "<form method=post action=\"{}\"><input name=do value=on><button>Win</button></form>",
        scene.at("/load/lamp/hand")
    );
    let port = stranger(form);
    let browser = Browser::start(360);
    browser.go(&format!("http://127.0.0.1:{port}/"));
    browser.follow("button");
    let said = browser.text("body");
    assert!(said.contains("another site"), "{said}");
    // Nothing was ordered, and the same form on the page's own origin is taken.
    assert!(scene.board.is_left_alone());
    browser.go(&scene.at("/load/lamp"));
    browser.follow("button[value=on]");
    scene.board.expect([false, true]);
}
