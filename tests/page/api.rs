//! The API: what it tells, what it does, what it refuses, and that all of it is as its own document says.

use serde_json::{Value, json};

use super::client::{Reply, Site};
use super::home::{Home, MODES};
use super::support::{Broker, Deadline, TEN_SECONDS};

/// A home with one of everything that the API tells of, and the document of its API.
struct Scene {
    // Ended first, since its daemon makes its folder anew.
    site: Site,
    home: Home,
    _broker: Broker,
    document: Value,
}

impl Scene {
    fn start() -> Scene {
        let broker = Broker::start();
        let home = Home::with_page(broker.port());
        home.folder.write("rules/modes.toml", MODES);
        let site = Site::start(&home);
        let document = site.get("/api/openapi.json").done();
        Scene { _broker: broker, home, site, document }
    }

    /// The answer to `GET`, held against the schema that the document promises for the route.
    fn get(&self, route: &str, path: &str) -> Value {
        let reply = self.site.get(path);
        self.conforms("get", route, &reply);
        reply.done()
    }

    fn post(&self, route: &str, path: &str, body: Value) -> Value {
        let reply = self.site.post(path, &body.to_string());
        self.conforms("post", route, &reply);
        reply.done()
    }

    fn conforms(&self, method: &str, route: &str, reply: &Reply) {
        let responses = &self.document["paths"][route][method]["responses"];
        let content = &responses[reply.status.to_string()]["content"];
        let kind = reply.header("content-type").unwrap_or_default();
        let schema = &content[kind]["schema"];
        assert!(schema.is_object(), "{method} {route} promises no {kind} with {}", reply.status);
        let schema = json!({ "components": self.document["components"], "allOf": [schema] });
        let validator = jsonschema::validator_for(&schema).expect("a schema");
        let errors: Vec<String> = validator.iter_errors(&reply.json()).map(|error| error.to_string()).collect();
        assert!(errors.is_empty(), "{method} {route}: {errors:?}: {reply:?}");
    }
}

#[test]
fn everything_is_told_as_the_document_promises() {
    let scene = Scene::start();
    let mut board = scene.home.live_board();
    scene.home.say("from/yard/reading/t1", "29.5");
    board.expect([true, false]);
    let status = scene.get("/api/status", "/api/status");
    assert_eq!((&status["broker"], &status["clock_trusted"]), (&json!(true), &json!(true)));
    let fan = scene.get("/api/loads/{load}", "/api/loads/fan");
    assert!(fan["why"].as_str().is_some_and(|why| why.contains("now 29.5; off at 26.5")), "{fan}");
    assert_eq!((&fan["wanted"], &fan["known"]), (&json!("on"), &json!("on")));
    assert_eq!(scene.get("/api/loads", "/api/loads").as_array().map(Vec::len), Some(2));
    let sensors = scene.get("/api/sensors", "/api/sensors");
    assert_eq!((&sensors[0]["sensor"], &sensors[0]["value"]), (&json!("sunroom-air"), &json!(29.5)));
    assert_eq!(scene.get("/api/boards", "/api/boards")[0]["presence"], "heard");
    assert_eq!(scene.get("/api/selectors", "/api/selectors")[0]["position"], "lived-in");
    assert_eq!(scene.get("/api/setpoints", "/api/setpoints")[0]["range"], json!([20.0, 32.0]));
    assert_eq!(scene.get("/api/alarms", "/api/alarms"), json!([]));
    let why = scene.get("/api/loads/{load}/why", "/api/loads/fan/why");
    assert_eq!(why["reasons"]["rules"][0]["rule"], "fan-when-hot", "{why}");
    let was = scene.get("/api/loads/{load}/why", "/api/loads/fan/why?at=0s");
    assert!(was["rows"][0]["text"].as_str().is_some_and(|text| text.starts_with("fan on (yard/1)")), "{was}");
    let journal = scene.get("/api/journal", "/api/journal?load=fan&since=2h&limit=5");
    assert!(journal["since"].is_string() && journal["rows"].as_array().is_some_and(|rows| !rows.is_empty()));
    let history = scene.get("/api/history", "/api/history?by=reason&since=2h");
    assert_eq!(history["rows"][0]["by"], "rule fan-when-hot", "{history}");
    let readings = scene.get("/api/readings", "/api/readings?sensor=sunroom-air&since=2h");
    assert_eq!((&readings["readings"][0]["value"], &readings["next"]), (&json!(29.5), &Value::Null));
    let after = scene.get("/api/readings", "/api/readings?after=4102444800000.1");
    assert_eq!(after["readings"], json!([]));
    scene.home.say("from/hall/input/ir", "20DF40BF 7");
    let seen = loop {
        let seen = scene.get("/api/seen", "/api/seen?after=1");
        if seen["seen"].as_array().is_some_and(|seen| !seen.is_empty()) {
            break seen;
        }
    };
    assert_eq!((&seen["seen"][0]["code"], &seen["seen"][0]["place"]), (&json!("20DF40BF"), &json!("hall/ir")));
    let house = scene.get("/api/house", "/api/house");
    assert_eq!((&house["revision"], &house["waits"]), (&status["revision"], &Value::Null));
    let change = scene.get("/api/house/change", "/api/house/change");
    assert!(change["text"].as_str().is_some_and(|text| text.contains("runs already")), "{change}");
}

/// Whatever one document says, the other says too.
fn loses_nothing(of: &Value, within: &Value, at: &str) {
    match of {
        Value::Object(members) => {
            for (name, member) in members {
                loses_nothing(member, &within[name], &format!("{at}/{name}"));
            }
        }
        Value::Array(items) => {
            for (number, item) in items.iter().enumerate() {
                loses_nothing(item, &within[number], &format!("{at}/{number}"));
            }
        }
        Value::Null => {}
        _ => assert!(!within.is_null(), "{at} is {of} at the socket and nothing here"),
    }
}

#[test]
fn nothing_that_the_command_line_tells_is_lost_on_the_way() {
    let scene = Scene::start();
    let mut board = scene.home.live_board();
    scene.home.say("from/yard/reading/t1", "29.5");
    board.expect([true, false]);
    scene.site.post("/api/loads/lamp/hold", "{\"state\":\"on\",\"term\":\"22:30\"}").done();
    board.expect([true, true]);
    scene.site.post("/api/loads/fan/withdraw", "{\"why\":\"new bearings\"}").done();
    board.expect([false, true]);
    scene.site.post("/api/selectors/house/select", "{\"position\":\"away\",\"term\":\"3d\"}").done();
    scene.site.post("/api/setpoints/warm/set", "{\"value\":29.5}").done();
    scene.home.save_with("kind = \"motor\"", "kind = \"moter\"");
    let patience = Deadline::after(TEN_SECONDS);
    while scene.get("/api/alarms", "/api/alarms") == json!([]) {
        assert!(!patience.passed(), "the house has errors and no alarm says so");
    }
    let told = |arguments: &[&str]| -> Value {
        let out = scene.home.ask(arguments).out;
        serde_json::from_str(&out).unwrap_or_else(|error| panic!("{error}: {out}"))
    };
    loses_nothing(&told(&["status", "--json"]), &scene.get("/api/status", "/api/status"), "status");
    for by in ["load", "day", "reason"] {
        let path = format!("/api/history?by={by}");
        loses_nothing(&told(&["history", "--by", by, "--json"]), &scene.get("/api/history", &path), "history");
    }
    loses_nothing(&told(&["log", "--json"]), &scene.get("/api/journal", "/api/journal"), "journal");
    let why = scene.get("/api/loads/{load}/why", "/api/loads/fan/why");
    loses_nothing(&told(&["why", "fan", "--json"]), &why["reasons"], "why");
}

#[test]
fn what_a_person_may_do_a_program_may_too_and_it_is_said_who() {
    let scene = Scene::start();
    let mut board = scene.home.live_board();
    let hold = |term: &str| {
        let body = json!({ "state": "on", "term": term });
        scene.post("/api/loads/{load}/hold", "/api/loads/lamp/hold", body)["text"].as_str().expect("words").to_owned()
    };
    assert!(hold("22:30").starts_with("lamp is held on until 22:30 to"), "today or tomorrow");
    assert!(hold("sunset+30m").starts_with("lamp is held on until "));
    assert!(hold("next change").contains("until the rules say something else"));
    assert!(hold("2h").starts_with("lamp is held on until "));
    board.expect([false, true]);
    let lamp = loop {
        let lamp = scene.get("/api/loads/{load}", "/api/loads/lamp");
        // The change of the contact is on its way to disk.
        if lamp["hold"]["stored"] == true {
            break lamp;
        }
    };
    assert_eq!(lamp["hold"]["by"], "a program", "{lamp}");
    let log = scene.home.ask(&["log", "lamp"]).out;
    assert!(log.contains("lamp held on by a program"), "{log}");
    let done = |route: &str, path: &str, body: Value, part: &str| {
        let text = scene.post(route, path, body)["text"].as_str().expect("words").to_owned();
        assert!(text.contains(part), "{path}: {text}");
    };
    let nothing = Value::Null;
    done("/api/loads/{load}/release", "/api/loads/lamp/release", nothing.clone(), "its rules decide again");
    board.expect([false, false]);
    let why = json!({ "why": "new bearings" });
    done("/api/loads/{load}/withdraw", "/api/loads/fan/withdraw", why, "no isolation");
    assert_eq!(scene.get("/api/loads/{load}", "/api/loads/fan")["withdrawn"]["why"], "new bearings");
    let held = scene.site.post("/api/loads/fan/hold", &json!({ "state": "on" }).to_string());
    held.expect_problem(409, &["withdrawn"]);
    let why = json!({ "why": "they run in oil" });
    done("/api/loads/{load}/restore", "/api/loads/fan/restore", why, "back in service");
    let log = scene.home.ask(&["log", "fan"]).out;
    assert!(log.contains("restored to service (they run in oil) by a program"), "{log}");
    let none = json!({});
    done("/api/loads/{load}/restore", "/api/loads/fan/restore", none, "nothing to do");
    done("/api/loads/{load}/reset", "/api/loads/fan/reset", nothing.clone(), "nothing to do");
    let turn = json!({ "position": "away", "term": "3d" });
    done("/api/selectors/{selector}/select", "/api/selectors/house/select", turn, "house is away until");
    assert_eq!(scene.get("/api/selectors", "/api/selectors")[0]["set"]["by"], "a program");
    done("/api/selectors/{selector}/release", "/api/selectors/house/release", nothing.clone(), "first position");
    let setting = json!({ "value": 29.5 });
    done("/api/setpoints/{setpoint}/set", "/api/setpoints/warm/set", setting, "warm is 29.5 °C");
    done("/api/setpoints/{setpoint}/release", "/api/setpoints/warm/release", nothing.clone(), "value in the file");
    scene.home.save_with("hold_for = \"1h\"", "hold_for = \"2h\"");
    done("/api/house/apply", "/api/house/apply", nothing.clone(), "runs ");
    scene.home.save_with("hold_for = \"1h\"", "hold_for = \"2 hours\"");
    scene.site.get("/api/house/change").expect_problem(409, &["errors"]);
    scene.site.post("/api/house/apply", "").expect_problem(409, &["errors"]);
    let alarm = loop {
        if let Some(alarm) = scene.get("/api/alarms", "/api/alarms").as_array().and_then(|alarms| alarms.first()) {
            break alarm["alarm"].as_str().expect("an id").to_owned();
        }
    };
    assert!(scene.get("/api/house", "/api/house")["faults"].is_string());
    done("/api/alarms/{alarm}/acknowledge", &format!("/api/alarms/{alarm}/acknowledge"), nothing, "is acknowledged");
    assert_eq!(scene.get("/api/alarms", "/api/alarms")[0]["acknowledged"], true);
}

#[test]
fn every_refusal_is_a_problem_that_says_what_to_do() {
    let scene = Scene::start();
    let site = &scene.site;
    let hold = |body: &str| site.post("/api/loads/lamp/hold", body);
    site.get("/api/loads/lmap").expect_problem(404, &["lmap"]);
    site.get("/api/loads/lmap/why").expect_problem(404, &["did you mean \"lamp\"?"]);
    site.post("/api/loads/lmap/release", "").expect_problem(404, &["did you mean \"lamp\"?"]);
    site.post("/api/alarms/none/acknowledge", "").expect_problem(404, &["no alarm"]);
    site.get("/api/journal?load=lmap").expect_problem(404, &["lamp"]);
    site.get("/api/nothing").expect_problem(404, &["/api/nothing"]);
    site.request("DELETE", "/api/status", &[], "").expect_problem(405, &["method"]);
    hold("{\"state\":\"on\",\"term\":\"sometime\"}").expect_problem(400, &["2h"]);
    hold("{\"state\":\"open\"}").expect_problem(400, &["on or off"]);
    hold("{\"state\":\"up\"}").expect_problem(400, &["not understood"]);
    hold("{\"state\":\"on\",\"for\":\"2h\"}").expect_problem(400, &["for"]);
    hold("{").expect_problem(400, &["not understood: EOF"]);
    hold("{}").expect_problem(400, &["not understood: missing field `state`"]);
    hold("{\"state\":\"on\",\"state\":\"off\"}").expect_problem(400, &["not understood: duplicate field `state`"]);
    for other in ["[]", "[\"on\",\"2h\"]", "null", "7", "\"on\""] {
        hold(other).expect_problem(400, &["not understood: invalid type", "a JSON object"]);
    }
    let form = [("Content-Type", "application/x-www-form-urlencoded")];
    site.request("POST", "/load/lamp/hand", &form, "x=1").expect_problem(400, &["not understood: missing field `do`"]);
    hold(&format!("{{\"state\":\"on\",\"term\":\"{}\"}}", "2".repeat(65))).expect_problem(400, &["64"]);
    let restore = |body: &str| site.post("/api/loads/lamp/restore", body);
    restore("[]").expect_problem(400, &["a JSON object"]);
    restore(&format!("{{\"why\":\"{}\"}}", "x".repeat(201))).expect_problem(400, &["why", "200"]);
    restore("{\"reason\":\"x\"}").expect_problem(400, &["reason"]);
    hold(&" ".repeat(20_000)).expect_problem(413, &["16384"]);
    site.request("POST", "/api/loads/lamp/hold", &[("Content-Type", "text/plain")], "{}")
        .expect_problem(415, &["JSON"]);
    site.request("POST", "/api/loads/lamp/hold", &[], "{\"state\":\"on\"}").expect_problem(415, &["JSON"]);
    site.get("/api/journal?limit=0").expect_problem(400, &["limit"]);
    site.get("/api/journal?limit=many").expect_problem(400, &["not understood: limit: invalid digit"]);
    site.get("/api/journal?since=yesterday").expect_problem(400, &["2026-05-12"]);
    site.get("/api/journal?since=1h&until=2h").expect_problem(400, &["before"]);
    site.get("/api/seen?after=9007199254740992").expect_problem(400, &["after"]);
    site.get("/api/readings?after=x").expect_problem(400, &["next"]);
    site.get("/api/readings?sensor=sunrom-air").expect_problem(404, &["sunroom-air"]);
    site.get("/api/loads/%ff").expect_problem(400, &["UTF-8"]);
    site.get("/api/loads/lamp/why?at=2026-05-12").expect_problem(409, &["no change before"]);
    site.post("/api/setpoints/warm/set", "{\"value\":99}").expect_problem(409, &["20", "32"]);
    site.post("/api/setpoints/warm/set", "{\"value\":1e999}").expect_problem(400, &[]);
    site.post("/api/selectors/house/select", "{\"position\":\"abroad\"}").expect_problem(404, &["away"]);
    // What another site's page asks for is not even looked at.
    for header in [("Origin", "http://elsewhere.example"), ("Sec-Fetch-Site", "cross-site"), ("Origin", "null")] {
        let headers = [("Content-Type", "application/json"), header];
        let reply = site.request("POST", "/api/loads/lamp/hold", &headers, "{\"state\":\"on\"}");
        reply.expect_problem(403, &["another site"]);
        scene.conforms("post", "/api/loads/{load}/hold", &reply);
    }
    assert_eq!(scene.get("/api/loads/{load}", "/api/loads/lamp")["hold"], Value::Null);
    let own = [("Content-Type", "application/json"), ("Origin", &*format!("http://{}", site.address))];
    assert_eq!(site.request("POST", "/api/loads/lamp/hold", &own, "{\"state\":\"on\"}").status, 200);
}
