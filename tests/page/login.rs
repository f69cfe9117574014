//! A page with a password: who is asked, who is let in, for how long, how often one may try, over TLS too.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::Arc;

use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};
use tokio_rustls::rustls;

use super::client::{Reply, Site};
use super::home::Home;
use super::support::{Broker, Process, Standfast, TEN_SECONDS, command};

const PASSWORD: &str = "correct horse";
const FORM: (&str, &str) = ("Content-Type", "application/x-www-form-urlencoded");
/// `Ann:correct horse` by RFC 7617, and with another password.
const BASIC: &str = "Basic QW5uOmNvcnJlY3QgaG9yc2U=";
const WRONG: &str = "Basic QW5uOndyb25n";

/// The line that `standfast password` makes.
fn hash_line() -> String {
    let mut asking = Standfast::start_typing(&["password"]);
    asking.type_line(PASSWORD);
    asking.expect_line(|line| line.starts_with("password_hash = \"$argon2id$"), TEN_SECONDS).text
}

/// A home whose page has the password.
pub fn home_with_password(broker: &Broker, keys: &str) -> Home {
    let home = Home::new(broker.port(), "apply = \"save\"");
    let file = std::fs::read_to_string(home.folder.path("standfast.toml")).expect("written");
    let page = format!("{file}\n[page]\nlisten = \"127.0.0.1:0\"\n{}\n{keys}\n", hash_line());
    home.folder.write("standfast.toml", &page);
    home
}

fn log_in(site: &Site, body: &str) -> Reply {
    let origin = format!("http://{}", site.address);
    site.request("POST", "/login", &[FORM, ("Origin", &origin), ("Sec-Fetch-Site", "same-origin")], body)
}

/// Logs somebody in, and yields the cookie to send.
pub fn log_in_as(site: &Site, name: &str) -> String {
    let reply = log_in(site, &format!("name={name}&password=correct+horse"));
    let cookie = reply.header("set-cookie").expect("a cookie");
    cookie.split(';').next().expect("a pair").to_owned()
}

fn with_cookie(site: &Site, method: &str, path: &str, cookie: &str) -> Reply {
    site.request(method, path, &[("Cookie", cookie)], "")
}

#[test]
fn nobody_is_let_in_without_the_password_and_a_log_in_survives_a_restart() {
    let broker = Broker::start();
    let home = home_with_password(&broker, "");
    let mut site = Site::start(&home);
    site.get("/api/status").expect_problem(401, &["/login"]);
    assert!(site.get("/api/status").header("www-authenticate").is_some_and(|scheme| scheme.starts_with("Basic ")));
    // A browser's script must not make the browser ask by itself.
    let script = site.request("GET", "/api/status", &[("Sec-Fetch-Site", "same-origin")], "");
    assert!(script.header("www-authenticate").is_some_and(|scheme| !scheme.starts_with("Basic")), "{script:?}");
    for path in ["/api/live", "/api/openapi.json", "/api/nothing"] {
        site.get(path).expect_problem(401, &[]);
    }
    site.post("/api/loads/lamp/hold", "{\"state\":\"on\"}").expect_problem(401, &[]);
    let front = site.get("/load/lamp?said=1");
    assert_eq!((front.status, front.header("location")), (303, Some("/login?then=/load/lamp%3Fsaid%3D1")), "{front:?}");
    let post = site.request("POST", "/load/lamp/hand", &[FORM], "state=on");
    assert_eq!((post.status, post.header("location")), (303, Some("/login?then=/")), "{post:?}");
    let form = site.get("/login?then=/load/lamp");
    assert!(form.status == 200 && form.body.contains("value=\"/load/lamp\""), "{form:?}");
    let wrong = log_in(&site, "name=Ann&password=wrong&then=%2F");
    assert!(wrong.status == 401 && wrong.body.contains("not the password"), "{wrong:?}");
    assert_eq!(wrong.header("set-cookie"), None);
    let right = log_in(&site, "name=Ann&password=correct+horse&then=%2Fload%2Flamp");
    assert_eq!((right.status, right.header("location")), (303, Some("/load/lamp")), "{right:?}");
    let cookie = right.header("set-cookie").expect("a cookie").to_owned();
    for word in ["HttpOnly", "SameSite=Strict", "Path=/", "Max-Age="] {
        assert!(cookie.contains(word), "{cookie}");
    }
    assert!(!cookie.contains("Secure"));
    let cookie = cookie.split(';').next().expect("a pair").to_owned();
    assert_eq!(with_cookie(&site, "GET", "/load/lamp", &cookie).status, 200);
    let hold = [("Cookie", &*cookie), ("Content-Type", "application/json")];
    site.request("POST", "/api/loads/lamp/hold", &hold, "{\"state\":\"on\"}").done();
    let lamp = with_cookie(&site, "GET", "/api/loads/lamp", &cookie).done();
    assert_eq!(lamp["hold"]["by"], "a program of Ann", "{lamp}");
    // The cookie alone is no leave for another site's page.
    let forged = [("Cookie", &*cookie), ("Content-Type", "application/json"), ("Origin", "http://elsewhere.example")];
    site.request("POST", "/api/loads/lamp/release", &forged, "").expect_problem(403, &[]);
    site.stop();
    let site = Site::start(&home);
    assert_eq!(with_cookie(&site, "GET", "/", &cookie).status, 200, "a restart logs nobody out");
    let out = with_cookie(&site, "POST", "/logout", &cookie);
    assert!(out.header("set-cookie").is_some_and(|cookie| cookie.contains("Max-Age=0")), "{out:?}");
    assert_eq!(with_cookie(&site, "GET", "/", &cookie).status, 303);
    assert_eq!(with_cookie(&site, "GET", "/", "standfast=made-up").status, 303);
}

#[test]
fn programs_send_the_password_and_whoever_guesses_is_slowed_down() {
    let broker = Broker::start();
    let home = home_with_password(&broker, "");
    let site = Site::start(&home);
    let ask = |authorization: &str| site.request("GET", "/api/loads", &[("Authorization", authorization)], "");
    assert_eq!(ask(BASIC).status, 200);
    for _ in 0..5 {
        ask(WRONG).expect_problem(401, &["not the password"]);
    }
    let slowed = ask(WRONG);
    slowed.expect_problem(429, &["too many"]);
    assert!(slowed.header("retry-after").and_then(|wait| wait.parse::<u32>().ok()).is_some_and(|wait| wait <= 10));
    let form = log_in(&site, "password=wrong");
    assert!(form.status == 429 && form.body.contains("too many"), "{form:?}");
    // Who is in stays in.
    assert_eq!(ask(BASIC).status, 200);
    for nonsense in ["Basic !!!", "Bearer x", "Basic", "Digest username=\"a\""] {
        ask(nonsense).expect_problem(401, &[]);
    }
}

#[test]
fn a_hash_is_made_of_a_long_enough_password_only() {
    let mut asking = Standfast::start_typing(&["password"]);
    asking.type_line("short");
    assert_eq!(asking.expect_end(TEN_SECONDS).code(), Some(2));
    assert!(asking.transcript().contains("at least 8 characters"));
    assert_ne!(hash_line(), hash_line(), "each has a salt of its own");
}

#[test]
fn at_a_terminal_it_asks_twice_and_shows_nothing() {
    let binary = env!("CARGO_BIN_EXE_standfast");
    let run = |typed: &[&str]| {
        let mut asking = Process::start_at_terminal("password", &format!("{binary} password"));
        asking.expect_line(|line| line.contains("nothing of what you type is shown"), TEN_SECONDS);
        for line in typed {
            asking.type_line(line);
        }
        let code = asking.expect_end(TEN_SECONDS).code();
        (code, asking.transcript())
    };
    let (code, shown) = run(&[PASSWORD, PASSWORD]);
    assert!(code == Some(0) && shown.contains("password_hash = \"$argon2id$"), "{shown}");
    assert!(!shown.contains(PASSWORD), "{shown}");
    let (code, shown) = run(&["correct horsf\u{7f}e", PASSWORD]);
    assert_eq!(code, Some(0), "a slip is taken back: {shown}");
    let (code, shown) = run(&[PASSWORD, "another horse"]);
    assert!(code == Some(2) && shown.contains("not the same"), "{shown}");
    let (code, shown) = run(&["correct\u{3}"]);
    assert!(code == Some(2) && shown.contains("given up"), "{shown}");
}

#[test]
fn over_tls_the_cookie_is_for_tls_only() {
    let broker = Broker::start();
    let home = home_with_password(&broker, "certificate_file = \"page.crt\"\nkey_file = \"page.key\"");
    let [certificate, key] = ["page.crt", "page.key"].map(|name| home.folder.path(name));
    make_certificate(&certificate, &key);
    let site = Site::start(&home);
    let authority = CertificateDer::from_pem_file(&certificate).expect("a certificate");
    let mut roots = RootCertStore::empty();
    roots.add(authority).expect("usable");
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .expect("versions")
        .with_root_certificates(roots)
        .with_no_client_auth();
    let config = Arc::new(config);
    let send = |text: String| {
        let name = ServerName::try_from("localhost").expect("a name");
        let connection = ClientConnection::new(config.clone(), name).expect("a client");
        let mut stream = StreamOwned::new(connection, TcpStream::connect(site.address).expect("it listens"));
        stream.write_all(text.as_bytes()).expect("sent");
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        String::from_utf8_lossy(&answer).into_owned()
    };
    let body = "password=correct+horse";
    let head = |origin: &str| {
        format!(
            "POST /login HTTP/1.1\r\nHost: localhost\r\nOrigin: {origin}\r\nConnection: close\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        )
    };
    let right = send(head("https://localhost"));
    let cookie = right.lines().find(|line| line.to_ascii_lowercase().starts_with("set-cookie: ")).expect("a cookie");
    assert!(cookie.contains("__Host-standfast=") && cookie.contains("; Secure"), "{cookie}");
    assert!(send(head("http://localhost")).starts_with("HTTP/1.1 403"), "a page without TLS is another site");
    assert!(matches!(site.get("/").status, 0 | 400), "nothing is said without TLS");
}

fn make_certificate(certificate: &std::path::Path, key: &std::path::Path) {
    let made = command("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"])
        .args(["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"])
        .args(["-addext", "basicConstraints=critical,CA:FALSE"])
        .arg("-keyout")
        .arg(key)
        .arg("-out")
        .arg(certificate)
        .output()
        .expect("openssl runs");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
}

#[test]
fn certificates_that_cannot_be_used_say_why() {
    let broker = Broker::start();
    let home = home_with_password(&broker, "certificate_file = \"page.crt\"\nkey_file = \"page.key\"");
    let refused = |parts: &[&str]| {
        let mut daemon = home.start();
        assert_eq!(daemon.expect_end(TEN_SECONDS).code(), Some(2));
        let printed = daemon.transcript();
        for part in parts {
            assert!(printed.contains(part), "{part}: {printed}");
        }
    };
    refused(&["[page] certificate_file", "page.crt", "No such file"]);
    make_certificate(&home.folder.path("page.crt"), &home.folder.path("page.key"));
    home.folder.write("page.key", "nonsense\n");
    refused(&["[page] key_file", "no private key in PEM"]);
    make_certificate(&home.folder.path("other.crt"), &home.folder.path("page.key"));
    refused(&["cannot be used together"]);
    home.folder.write("page.crt", "nonsense\n");
    refused(&["[page] certificate_file", "no certificate in PEM"]);
}
