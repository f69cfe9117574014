//! The link over TLS. Its certificates are made for it and trusted nowhere else.

use super::*;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn tls_with_a_private_authority_and_nothing_else() {
    let folder = Folder::new();
    certificates(&folder);
    let port = free_port();
    let path = |name: &str| folder.path(name).display().to_string();
    let extra = format!(
        "allow_anonymous true\nlistener {port} 127.0.0.1\ncafile {}\ncertfile {}\nkeyfile {}",
        path("ca.pem"),
        path("server.pem"),
        path("server.key")
    );
    let _broker = Broker::start_with(BrokerOptions { persistence: false, extra });
    // The fixture has waited for its plain listener only.
    wait_until_listening(port, TEN_SECONDS);
    let secure = |ca: &str| Options {
        address: format!("mqtts://localhost:{port}").parse().expect("an address"),
        tls: Some(Tls::new(Some(&folder.path(ca))).expect("a certificate")),
        ..options(port, "one")
    };
    connected(secure("ca.pem")).await;
    let (_outbox, mut inbox) = mqtt::start(secure("other.pem"));
    let why = expect_down(&mut inbox, TEN_SECONDS).await;
    assert!(why.contains("certificate"), "{why}");
}

/// Makes `ca.pem`, a server certificate for `localhost` signed by it, and `other.pem`, which signed nothing.
fn certificates(folder: &Folder) {
    folder.write("san", "subjectAltName=DNS:localhost,IP:127.0.0.1\n");
    let curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"];
    let run = |arguments: &[&str]| {
        let output = command("openssl").args(arguments).current_dir(folder.path("")).output().expect("openssl runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    };
    for name in ["ca", "other"] {
        let (key, pem, subject) = (format!("{name}.key"), format!("{name}.pem"), format!("/CN=Test {name}"));
        let own = ["req", "-x509", "-days", "30", "-subj", &subject, "-keyout", &key, "-out", &pem];
        run(&[&own[..], &curve[..]].concat());
    }
    let request = ["req", "-subj", "/CN=localhost", "-keyout", "server.key", "-out", "server.csr"];
    run(&[&request[..], &curve[..]].concat());
    run(&[
        "x509",
        "-req",
        "-in",
        "server.csr",
        "-CA",
        "ca.pem",
        "-CAkey",
        "ca.key",
        "-CAcreateserial",
        "-days",
        "30",
        "-extfile",
        "san",
        "-out",
        "server.pem",
    ]);
}
