//! HTTP as bytes: what a browser sends, and what none would. It never follows and never retries.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};

use super::home::Home;
use super::support::{Standfast, TEN_SECONDS};

/// A daemon with a page.
pub struct Site {
    pub daemon: Standfast,
    pub address: SocketAddr,
}

/// An answer.
#[derive(Debug)]
pub struct Reply {
    pub status: u16,
    head: String,
    pub body: String,
}

impl Site {
    /// Starts the daemon of a home whose server's file wants a page on a free port.
    pub fn start(home: &Home) -> Site {
        let mut daemon = home.run();
        let said = |line: &str| line.split_once("the page is at ").map(|(_, address)| address.trim().to_owned());
        let line = match daemon.lines().iter().find_map(|line| said(&line.text)) {
            Some(line) => line,
            None => said(&daemon.expect_line(|line| said(line).is_some(), TEN_SECONDS).text).expect("it was wanted"),
        };
        let address = line.split_once("://").expect("a URL").1.trim_end_matches('/');
        Site { daemon, address: address.parse().expect("an address") }
    }

    /// Ends the daemon in peace.
    pub fn stop(&mut self) {
        self.daemon.terminate();
        self.daemon.expect_end(TEN_SECONDS);
    }

    /// Sends bytes and reads to the end of the connection.
    pub fn send(&self, bytes: &[u8]) -> Reply {
        let mut stream = self.connect();
        // Whoever is refused early may not be heard to the end.
        let _ = stream.write_all(bytes);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        Reply::of(&answer)
    }

    /// A connection, with bounded waits.
    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(self.address).expect("it listens");
        stream.set_read_timeout(Some(TEN_SECONDS)).expect("set");
        stream.set_write_timeout(Some(TEN_SECONDS)).expect("set");
        stream
    }

    /// A request with headers beside Host and Connection.
    pub fn request(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Reply {
        let mut text = format!("{method} {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n", self.address);
        for (name, value) in headers {
            text.push_str(&format!("{name}: {value}\r\n"));
        }
        if !body.is_empty() || method == "POST" {
            text.push_str(&format!("Content-Length: {}\r\n", body.len()));
        }
        self.send(format!("{text}\r\n{body}").as_bytes())
    }

    /// `GET`.
    pub fn get(&self, path: &str) -> Reply {
        self.request("GET", path, &[], "")
    }

    /// `POST` of JSON.
    pub fn post(&self, path: &str, body: &str) -> Reply {
        self.request("POST", path, &[("Content-Type", "application/json")], body)
    }
}

impl Reply {
    fn of(bytes: &[u8]) -> Reply {
        let text = String::from_utf8_lossy(bytes).into_owned();
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
        let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or_default();
        let reply = Reply { status, head: head.to_owned(), body: body.to_owned() };
        match reply.header("transfer-encoding") {
            Some("chunked") => Reply { body: unchunked(body), ..reply },
            _ => reply,
        }
    }

    /// A header, by its name in small letters.
    pub fn header(&self, name: &str) -> Option<&str> {
        let mut lines = self.head.lines().skip(1).filter_map(|line| line.split_once(": "));
        lines.find(|(found, _)| found.eq_ignore_ascii_case(name)).map(|(_, value)| value)
    }

    /// The body as JSON.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }

    /// It went well; what it says as JSON.
    pub fn done(&self) -> serde_json::Value {
        assert_eq!(self.status, 200, "{self:?}");
        assert_eq!(self.header("content-type"), Some("application/json"), "{self:?}");
        self.json()
    }

    /// It is a problem by RFC 9457 with this status, and says all of this.
    pub fn expect_problem(&self, status: u16, parts: &[&str]) {
        assert_eq!(self.status, status, "{self:?}");
        assert_eq!(self.header("content-type"), Some("application/problem+json"), "{self:?}");
        let problem = self.json();
        assert_eq!(problem["status"], status, "{self:?}");
        assert!(problem["title"].is_string() && problem["type"] == "about:blank", "{self:?}");
        for part in parts {
            assert!(problem["detail"].as_str().is_some_and(|detail| detail.contains(part)), "{part}: {self:?}");
        }
    }
}

fn unchunked(mut body: &str) -> String {
    let mut whole = String::new();
    while let Some((length, rest)) = body.split_once("\r\n") {
        let length = usize::from_str_radix(length, 16).unwrap_or_default();
        if length == 0 || rest.len() < length {
            break;
        }
        whole.push_str(&rest[..length]);
        body = rest[length..].trim_start_matches("\r\n");
    }
    whole
}
