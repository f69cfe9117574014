//! Who is let in and who is not, before anything is looked at.

use std::io::{Read, Write};
use std::net::TcpListener;

use super::client::Site;
use super::home::Home;
use super::support::{Broker, Deadline, Standfast, TEN_SECONDS};

const PAGE: &str = "page = { listen = \"127.0.0.1:0\", names = [\"house.lan\"] }";

#[test]
fn the_policy_stands_on_every_answer_and_strange_names_are_refused() {
    let broker = Broker::start();
    let home = Home::new(broker.port(), PAGE);
    let site = Site::start(&home);
    for (path, status) in [("/", 200), ("/nothing", 404)] {
        let reply = site.get(path);
        assert_eq!(reply.status, status, "{reply:?}");
        let policy = reply.header("content-security-policy").expect("a policy");
        assert!(policy.starts_with("default-src 'none'; ") && !policy.contains("unsafe"), "{policy}");
        assert_eq!(reply.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(reply.header("cache-control"), Some("no-store"));
    }
    site.get("/nothing").expect_problem(404, &["/nothing"]);
    // A person's browser gets a page.
    let page = site.request("GET", "/nothing", &[("Accept", "text/html,application/xhtml+xml")], "");
    assert!(page.status == 404 && page.body.contains("There is nothing at <code>/nothing</code>"), "{page:?}");
    site.request("DELETE", "/", &[], "").expect_problem(405, &["method"]);
    let port = site.address.port();
    let with_host = |host: &str| site.send(format!("GET / HTTP/1.1\r\n{host}Connection: close\r\n\r\n").as_bytes());
    for host in [format!("localhost:{port}"), "house.lan".to_owned(), "192.168.1.9".to_owned(), format!("[::1]:{port}")]
    {
        assert_eq!(with_host(&format!("Host: {host}\r\n")).status, 200, "{host}");
    }
    with_host("Host: elsewhere.example\r\n").expect_problem(421, &["\"elsewhere.example\"", "`names`"]);
    with_host("").expect_problem(400, &["Host"]);
    with_host("Host: localhost\r\nHost: elsewhere.example\r\n").expect_problem(400, &["Host"]);
    let absolute = b"GET http://elsewhere.example/ HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n";
    site.send(absolute).expect_problem(421, &[]);
}

#[test]
fn what_is_no_request_ends_in_time_and_one_caller_cannot_take_every_place() {
    let broker = Broker::start();
    let home = Home::new(broker.port(), PAGE);
    let site = Site::start(&home);
    assert!(matches!(site.send(b"nonsense\r\n\r\n").status, 0 | 400));
    let long = format!("GET /{} HTTP/1.1\r\nHost: localhost\r\n\r\n", "x".repeat(40_000));
    assert!(matches!(site.send(long.as_bytes()).status, 0 | 400 | 414 | 431));
    // Heads that never end hold a share of the places, and for a bounded time.
    let mut idle: Vec<_> = (0..60).map(|_| site.connect()).collect();
    for stream in &mut idle {
        let _ = stream.write_all(b"GET / HTTP/1.1\r\nHost: local");
    }
    let end = Deadline::after(2 * TEN_SECONDS);
    let turned_away = |stream: &mut std::net::TcpStream| {
        stream.set_read_timeout(Some(std::time::Duration::from_millis(20))).expect("set");
        matches!(stream.read(&mut [0; 64]), Ok(0))
            || stream.write_all(b"h").is_err_and(|error| error.kind() == std::io::ErrorKind::BrokenPipe)
    };
    assert!(idle.iter_mut().any(turned_away), "60 connections of one address are held");
    idle.retain_mut(|stream| !end.passed() && !turned_away(stream));
    assert!((40..=50).contains(&idle.len()), "{} are held", idle.len());
    let mut first = idle.remove(0);
    first.set_read_timeout(Some(2 * TEN_SECONDS)).expect("set");
    let mut rest = Vec::new();
    let _ = first.read_to_end(&mut rest);
    assert!(!end.passed(), "a head that never ends is cut off");
    assert!(site.get("/").status == 200);
}

#[test]
fn a_port_in_use_is_an_error_that_names_the_key() {
    let broker = Broker::start();
    let taken = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = taken.local_addr().expect("bound");
    let home = Home::new(broker.port(), &format!("page.listen = \"{address}\""));
    let mut daemon: Standfast = home.start();
    assert_eq!(daemon.expect_end(TEN_SECONDS).code(), Some(2));
    let printed = daemon.transcript();
    assert!(printed.contains(&format!("port {} on 127.0.0.1 is in use", address.port())), "{printed}");
    assert!(printed.contains("page.listen"), "{printed}");
}
