//! What the file of the server means, and what each mistake in it is answered with. It reads no files.

use super::*;

struct Files(tempfile::TempDir);

impl Files {
    fn new(text: &str) -> Files {
        let files = Files(tempfile::tempdir().expect("a folder"));
        std::fs::create_dir(files.path("rules")).expect("made");
        std::fs::write(files.path(FILE_NAME), text).expect("written");
        std::fs::write(files.path("broker.password"), "hush\nnot this\n").expect("written");
        files
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn read_in(&self, surroundings: &Surroundings) -> Result<Config, ConfigError> {
        Config::read(&self.path(FILE_NAME), surroundings)
    }
}

fn accepted(text: &str) -> Config {
    Files::new(text).read_in(&Surroundings::default()).unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// The file is refused, and the message has all these parts.
fn check_refused(text: &str, parts: &[&str]) {
    let error = Files::new(text).read_in(&Surroundings::default()).expect_err(text).to_string();
    for part in parts {
        assert!(error.contains(part), "{text}: {part} is not in:\n{error}");
    }
}

#[test]
fn the_least_file_has_the_embedded_broker_on_loopback() {
    let files = Files::new("house = \"rules\"");
    let config = files.read_in(&Surroundings::default()).expect("accepted");
    assert_eq!((config.house, config.data), (files.path("rules"), files.path("data")));
    assert_eq!((config.settle, config.clock), (Span::from_s(30), ClockPolicy::Synchronised));
    assert_eq!((config.apply, config.log), (None, Log::Text));
    let (listen, prefix) = ("127.0.0.1:1883".parse().expect("an address"), config.broker.prefix);
    if cfg!(feature = "embedded-broker") {
        assert_eq!(config.broker.place, BrokerPlace::Embedded(listen));
    }
    assert_eq!((prefix.as_str(), config.page.is_none()), ("standfast", true));
}

#[test]
fn the_state_folder_of_a_service_is_the_default_for_data() {
    let surroundings = Surroundings { state: Some(PathBuf::from("/var/lib/x")), credentials: None };
    let read = |text: &str| Files::new(text).read_in(&surroundings).expect("accepted").data;
    assert_eq!(read("house = \"rules\""), PathBuf::from("/var/lib/x"));
    assert_eq!(read("house = \"rules\"\ndata = \"/else\""), PathBuf::from("/else"));
}

#[test]
fn without_a_house_it_says_how_to_make_one() {
    check_refused("", &["standfast.toml", "`house`", "standfast new DIR"]);
}

#[test]
fn unknown_keys_are_errors_with_the_nearest() {
    check_refused(
        "house = \"rules\"\n[broker]\nurl = \"mqtt://127.0.0.1\"\nprefx = \"x\"",
        &[":4:1", "`prefx`", "`prefix`"],
    );
}

#[test]
fn all_faults_come_in_one_go() {
    let text = "house = \"rules\"\n[broker]\nurl = \"http://b\"\nprefix = \"a/+\"\npassword_file = \"none\"\n[page]\nlisten = \"x\"";
    check_refused(text, &["`http://`", "prefix cannot be used", "user name", "cannot be read", "`listen`"]);
}

#[test]
fn reaching_beyond_this_machine_wants_a_password_and_says_how() {
    let house = "house = \"rules\"\n";
    let beyond = ["no password", "password_file"];
    if cfg!(feature = "embedded-broker") {
        for listen in ["0.0.0.0:1883", "192.168.1.9:1883", "[::]:1883"] {
            check_refused(&format!("{house}[broker.embedded]\nlisten = \"{listen}\""), &beyond);
            let account = "[broker]\nusername = \"u\"\npassword_file = \"broker.password\"\n";
            accepted(&format!("{house}{account}[broker.embedded]\nlisten = \"{listen}\""));
        }
        accepted(&format!("{house}[broker.embedded]\nlisten = \"127.0.0.2:1884\""));
    }
    check_refused(&format!("{house}[broker]\nurl = \"mqtts://broker.lan\""), &beyond);
    accepted(&format!("{house}[broker]\nurl = \"mqtt://localhost\""));
    check_refused(&format!("{house}[page]\nlisten = \"0.0.0.0:8420\""), &["page", "no password", "`password_hash`"]);
    let hash =
        "password_hash = \"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc\"";
    let config = accepted(&format!("{house}[page]\nlisten = \"0.0.0.0:8420\"\n{hash}"));
    assert!(config.notices.iter().any(|notice| notice.contains("without TLS")), "{:?}", config.notices);
    check_refused(&format!("{house}[page]\npassword_hash = \"hush\""), &["no argon2id hash", "standfast password"]);
    let tls = "certificate_file = \"page.crt\"";
    check_refused(&format!("{house}[page]\n{tls}"), &["`key_file`", "PEM"]);
    check_refused(&format!("{house}[page]\nkey_file = \"page.key\""), &["`certificate_file`"]);
    let config = accepted(&format!("{house}[page]\nlisten = \"0.0.0.0:8420\"\n{hash}\n{tls}\nkey_file = \"page.key\""));
    assert_eq!(config.notices, Vec::<String>::new());
    let (certificates, key) = config.page.expect("a page").tls.expect("TLS");
    assert!(certificates.is_absolute() && certificates.ends_with("page.crt") && key.ends_with("page.key"));
    accepted(&format!("{house}[page]\n"));
}

#[test]
fn who_is_told_of_alarms_is_read_without_a_shell() {
    let alarm = |keys: &str| accepted(&format!("house = \"rules\"\n[alarm]\n{keys}")).alarm.expect("an alarm");
    let told = alarm("run = \"tell --to 'Rowan Cottage' $HOME\"");
    assert_eq!(told.program.program, PathBuf::from("tell"));
    assert_eq!(told.program.arguments, ["--to", "Rowan Cottage", "$HOME"]);
    assert_eq!((told.manner.delay, told.manner.reminder), (Span::from_s(30), None));
    let files = Files::new("house = \"rules\"\n[alarm]\nrun = \"./tell\"");
    let config = files.read_in(&Surroundings::default()).expect("accepted");
    assert_eq!(config.alarm.expect("an alarm").program.program, files.path("./tell"));
    assert!(config.notices.iter().any(|notice| notice.contains("there is no program")), "{:?}", config.notices);
    check_refused("house = \"rules\"\n[alarm]\nrun = \"tell 'x\"", &["quotation mark", ":3:7"]);
    for nothing in [" ", "   ", "# all of it"] {
        check_refused(&format!("house = \"rules\"\n[alarm]\nrun = \"{nothing}\""), &["`run` names no program", ":3:7"]);
    }
}

#[test]
fn the_password_is_the_credential_of_that_name_or_the_first_line_of_the_file() {
    let text = "house = \"rules\"\n[broker]\nurl = \"mqtt://b\"\nusername = \"u\"\npassword_file = \"broker.password\"";
    let files = Files::new(text);
    let password = |surroundings: &Surroundings| {
        let config = files.read_in(surroundings).expect("accepted");
        config.broker.password.expect("a password").reveal().to_owned()
    };
    assert_eq!(password(&Surroundings::default()), "hush");
    std::fs::create_dir(files.path("credentials")).expect("made");
    let surroundings = Surroundings { credentials: Some(files.path("credentials")), state: None };
    assert_eq!(password(&surroundings), "hush");
    std::fs::write(files.path("credentials/broker.password"), "from the system").expect("written");
    assert_eq!(password(&surroundings), "from the system");
    let shown = format!("{:?}", files.read_in(&surroundings).expect("accepted"));
    assert!(!shown.contains("from the system"), "{shown}");
}

#[test]
fn a_password_that_everybody_can_read_is_noticed() {
    use std::os::unix::fs::PermissionsExt;
    let text = "house = \"rules\"\n[broker]\nurl = \"mqtt://b\"\nusername = \"u\"\npassword_file = \"broker.password\"";
    let files = Files::new(text);
    let notices = |mode: u32| {
        let permissions = std::fs::Permissions::from_mode(mode);
        std::fs::set_permissions(files.path("broker.password"), permissions).expect("set");
        files.read_in(&Surroundings::default()).expect("accepted").notices
    };
    assert!(notices(0o644).iter().any(|notice| notice.contains("broker.password")));
    assert_eq!(notices(0o640), Vec::<String>::new());
}

#[test]
fn what_cannot_stand_together() {
    let broker = |keys: &str| format!("house = \"rules\"\n[broker]\n{keys}");
    check_refused(&broker("url = \"mqtt://localhost\"\nca_file = \"ca.pem\""), &["mqtts:// only"]);
    check_refused(&broker("url = \"mqtt://localhost\"\n[broker.embedded]\n"), &["[broker.embedded]"]);
    let config = accepted(&broker("url = \"mqtts://localhost:1\"\nca_file = \"ca.pem\""));
    let BrokerPlace::At { address, ca_file } = config.broker.place else { panic!("embedded") };
    assert!(address.tls && ca_file.is_some_and(|path| path.is_absolute() && path.ends_with("ca.pem")));
}

#[test]
fn the_file_is_searched_where_it_was_said() {
    let files = Files::new("");
    let folders = [files.path("rules"), files.0.path().to_owned()];
    let found = |named: Option<&Path>, folders: &[PathBuf]| find_in(named, folders).expect("found");
    assert_eq!(found(None, &folders), files.path(FILE_NAME));
    assert_eq!(found(Some(Path::new("/x/y.toml")), &folders), PathBuf::from("/x/y.toml"));
    assert_eq!(found(Some(files.0.path()), &[]), files.path(FILE_NAME));
    let error = find_in(None, &folders[..1]).expect_err("none").to_string();
    assert!(error.contains("rules/standfast.toml") && error.contains("standfast new DIR"), "{error}");
}

#[test]
fn what_cannot_be_read_says_so() {
    let error = Config::read(Path::new("/nowhere/standfast.toml"), &Surroundings::default()).expect_err("none");
    assert!(error.to_string().contains("cannot read /nowhere/standfast.toml"), "{error}");
    let files = Files::new("");
    std::fs::write(files.path(FILE_NAME), [0xff, 0xfe, 0x00]).expect("written");
    let error = files.read_in(&Surroundings::default()).expect_err("refused");
    assert!(error.to_string().contains("UTF-8"), "{error}");
}
