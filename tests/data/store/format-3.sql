PRAGMA foreign_keys = OFF;
BEGIN TRANSACTION;
CREATE TABLE accepted (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        revision TEXT NOT NULL
    ) STRICT;
INSERT INTO "accepted" VALUES(1,'0b78e62');
CREATE TABLE accepted_file (
        path TEXT PRIMARY KEY,
        text TEXT NOT NULL
    ) STRICT;
INSERT INTO "accepted_file" VALUES('house.toml','[site]
position = [54.60, -3.14]
zone = "Europe/London"
stagger = "0s"

[board.cellar]
relays = 5
lease = "60s"

[sensor.cellar-air]
reading = "cellar/t1"
unit = "°C"
range = [-20, 60]

[load.fan]
relay = "cellar/1"
kind = "motor"
min_on = "30m"

[load.lamp]
relay = "cellar/2"
kind = "led"

[load.pump]
relay = "cellar/3"
kind = "motor"
max_starts = "2 per 24h"

[load.heater]
relay = "cellar/4"
kind = "resistive"

[load.towel-rail]
relay = "cellar/5"
kind = "resistive"

[rule.fan-when-warm]
load = "fan"
demand = "on"
while = { sensor = "cellar-air", cut_in = ">= 28.0", cut_out = "<= 26.5" }

[rule.heater-trips]
load = "heater"
demand = "off"
priority = 2
reset = "manual"
while = { sensor = "cellar-air", cut_in = ">= 50", cut_out = "<= 45" }
');
CREATE TABLE journal (
        id INTEGER PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        trusted INTEGER NOT NULL,
        revision TEXT NOT NULL,
        entry TEXT NOT NULL
    ) STRICT;
INSERT INTO "journal" VALUES(1,1795659023969,1,'0b78e62','{"entry":"board-found","board":"cellar"}');
INSERT INTO "journal" VALUES(2,1795659024457,1,'0b78e62','{"entry":"changed","load":"fan","relay":"cellar/1","state":"on","cause":{"cause":"rule","rule":"fan-when-warm","place":"house.toml:37","priority":16,"state":"on","truth":"true","evidence":[{"kind":"threshold","sensor":"cellar-air","unit":"°C","value":30.0,"side":"High","cut_in":28.0,"cut_out":26.5,"truth":"true"}]}}');
INSERT INTO "journal" VALUES(3,1795659024669,1,'0b78e62','{"entry":"held","load":"pump","state":"on","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(4,1795659024797,1,'0b78e62','{"entry":"changed","load":"pump","relay":"cellar/3","state":"on","cause":{"cause":"hold","state":"on","by":{"kind":"command","name":"root"},"began":1795659024669,"until":1795666224669,"until_next_change":false}}');
INSERT INTO "journal" VALUES(5,1795659024962,1,'0b78e62','{"entry":"hold-ended","load":"pump","why":"replaced"}');
INSERT INTO "journal" VALUES(6,1795659024962,1,'0b78e62','{"entry":"held","load":"pump","state":"off","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(7,1795659025081,1,'0b78e62','{"entry":"changed","load":"pump","relay":"cellar/3","state":"off","cause":{"cause":"hold","state":"off","by":{"kind":"command","name":"root"},"began":1795659024962,"until":1795666224962,"until_next_change":false}}');
INSERT INTO "journal" VALUES(8,1795659025249,1,'0b78e62','{"entry":"hold-ended","load":"pump","why":"replaced"}');
INSERT INTO "journal" VALUES(9,1795659025249,1,'0b78e62','{"entry":"held","load":"pump","state":"on","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(10,1795659025372,1,'0b78e62','{"entry":"changed","load":"pump","relay":"cellar/3","state":"on","cause":{"cause":"hold","state":"on","by":{"kind":"command","name":"root"},"began":1795659025249,"until":1795666225249,"until_next_change":false}}');
INSERT INTO "journal" VALUES(11,1795659025561,1,'0b78e62','{"entry":"hold-ended","load":"pump","why":"replaced"}');
INSERT INTO "journal" VALUES(12,1795659025561,1,'0b78e62','{"entry":"held","load":"pump","state":"off","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(13,1795659025657,1,'0b78e62','{"entry":"changed","load":"pump","relay":"cellar/3","state":"off","cause":{"cause":"hold","state":"off","by":{"kind":"command","name":"root"},"began":1795659025561,"until":1795666225561,"until_next_change":false}}');
INSERT INTO "journal" VALUES(14,1795659025838,1,'0b78e62','{"entry":"hold-ended","load":"pump","why":"released"}');
INSERT INTO "journal" VALUES(15,1795659026109,1,'0b78e62','{"entry":"held","load":"lamp","state":"on","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(16,1795659026217,1,'0b78e62','{"entry":"changed","load":"lamp","relay":"cellar/2","state":"on","cause":{"cause":"hold","state":"on","by":{"kind":"command","name":"root"},"began":1795659026109,"until":1795691426109,"until_next_change":false}}');
INSERT INTO "journal" VALUES(17,1795659026377,1,'0b78e62','{"entry":"withdrawn","load":"towel-rail","why":"new thermostat","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(18,1795659026645,1,'0b78e62','{"entry":"tripped","load":"heater","rule":"heater-trips"}');
INSERT INTO "journal" VALUES(19,1795659026645,1,'0b78e62','{"entry":"alarm-raised","alarm":"trip-heater-trips","text":"safety trip \"heater-trips\" has tripped: load \"heater\" stays off until somebody has looked and resets it"}');
INSERT INTO "journal" VALUES(20,1795659027750,1,'0b78e62','{"entry":"alarm-raised","alarm":"house","text":"the house has errors, so the one before goes on: 2 errors: error: the house has no [site]; add to one of its files: [site], and below it position = [54.60, -3.14] and zone = \"Europe/London\""}');
INSERT INTO "journal" VALUES(21,1795659028981,1,'0b78e62','{"entry":"alarm-acknowledged","alarm":"house","by":{"kind":"command","name":"root"}}');
CREATE TABLE reading (
        at_ms INTEGER NOT NULL,
        sensor INTEGER NOT NULL REFERENCES sensor (id),
        value REAL NOT NULL,
        PRIMARY KEY (at_ms, sensor)
    ) STRICT, WITHOUT ROWID;
INSERT INTO "reading" VALUES(1795659024193,1,30.0);
INSERT INTO "reading" VALUES(1795659026645,1,55.0);
INSERT INTO "reading" VALUES(1795659027049,1,20.0);
CREATE TABLE reservation (
        board TEXT PRIMARY KEY,
        through INTEGER NOT NULL
    ) STRICT;
INSERT INTO "reservation" VALUES('cellar',1001);
CREATE TABLE sensor (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE
    ) STRICT;
INSERT INTO "sensor" VALUES(1,'cellar-air');
CREATE TABLE snapshot (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        json TEXT NOT NULL,
        boot_id TEXT,
        boot_ms INTEGER NOT NULL,
        wall_ms INTEGER NOT NULL,
        trusted INTEGER NOT NULL
    ) STRICT;
INSERT INTO "snapshot" VALUES(1,'{"taken":{"boot":62226785,"wall":1795659030762,"trusted":true},"boards":{"cellar":{"presence":"present","boot":17,"born":null,"beat":48,"heard_at":62226720,"obeyed_at":62226664,"next_number":55,"reserved":1001,"lease_bound":62288320,"contacts":[{"reported":true,"last_reported":true,"changed_latest":62220480,"wish":true,"timed":null,"said":true,"said_in":[4,54],"turned_over":null,"taken":53,"cause":{"cause":"rule","rule":"fan-when-warm","place":"house.toml:37","priority":16,"state":"on","truth":"true","evidence":[{"kind":"threshold","sensor":"cellar-air","unit":"°C","value":30.0,"side":"High","cut_in":28.0,"cut_out":26.5,"truth":"true"}]},"turned_by":{"cause":"rule","rule":"fan-when-warm","place":"house.toml:37","priority":16,"state":"on","truth":"true","evidence":[{"kind":"threshold","sensor":"cellar-air","unit":"°C","value":30.0,"side":"High","cut_in":28.0,"cut_out":26.5,"truth":"true"}]},"lost":null,"changes":null,"hands":null,"was_reset":false,"mismatch_since":null,"runs":{"since":62220216,"cut":false,"starts":[62220480]},"turns":{"since":62219992,"times":1},"proof":{"fault":null,"seen":null},"hours":{"total":6240,"counted_to":62226720},"operations":1},{"reported":true,"last_reported":true,"changed_latest":62222240,"wish":true,"timed":null,"said":true,"said_in":[33,54],"turned_over":null,"taken":53,"cause":{"cause":"hold","state":"on","by":{"kind":"command","name":"root"},"began":1795659026109,"until":1795691426109,"until_next_change":false},"turned_by":{"cause":"hold","state":"on","by":{"kind":"command","name":"root"},"began":1795659026109,"until":1795691426109,"until_next_change":false},"lost":null,"changes":null,"hands":null,"was_reset":false,"mismatch_since":null,"runs":{"since":62222132,"cut":false,"starts":[62222240]},"turns":{"since":62219992,"times":1},"proof":{"fault":null,"seen":null},"hours":{"total":4480,"counted_to":62226720},"operations":1},{"reported":false,"last_reported":false,"changed_latest":62221680,"wish":false,"timed":null,"said":false,"said_in":[54,24],"turned_over":null,"taken":53,"cause":{"cause":"hold","state":"off","by":{"kind":"command","name":"root"},"began":1795659025561,"until":1795666225561,"until_next_change":false},"turned_by":{"cause":"hold","state":"off","by":{"kind":"command","name":"root"},"began":1795659025561,"until":1795666225561,"until_next_change":false},"lost":null,"changes":null,"hands":null,"was_reset":false,"mismatch_since":null,"runs":{"since":null,"cut":false,"starts":[62220820,62221395]},"turns":{"since":62219992,"times":4},"proof":{"fault":null,"seen":null},"hours":{"total":569,"counted_to":null},"operations":2},{"reported":false,"last_reported":false,"changed_latest":62219992,"wish":false,"timed":null,"said":false,"said_in":[54,0],"turned_over":null,"taken":53,"cause":{"cause":"rule","rule":"heater-trips","place":"house.toml:42","priority":2,"state":"off","truth":"unknown","evidence":[{"kind":"threshold","sensor":"cellar-air","unit":"°C","value":null,"side":"High","cut_in":50.0,"cut_out":45.0,"truth":"unknown"}]},"turned_by":null,"lost":null,"changes":null,"hands":null,"was_reset":false,"mismatch_since":null,"runs":{"since":null,"cut":false,"starts":[]},"turns":{"since":62219992,"times":0},"proof":{"fault":null,"seen":null},"hours":{"total":0,"counted_to":null},"operations":0},{"reported":false,"last_reported":false,"changed_latest":62219992,"wish":false,"timed":null,"said":false,"said_in":[54,0],"turned_over":null,"taken":53,"cause":{"cause":"resting"},"turned_by":null,"lost":null,"changes":null,"hands":null,"was_reset":false,"mismatch_since":null,"runs":{"since":null,"cut":false,"starts":[]},"turns":{"since":62219992,"times":0},"proof":{"fault":null,"seen":null},"hours":{"total":0,"counted_to":null},"operations":0}],"restarts":{"since":null,"times":0}}},"fallbacks":{"cellar":{"lease_s":60,"relays":[{"word":"off","deaf":false},{"word":"off","deaf":false},{"word":"off","deaf":false},{"word":"off","deaf":false},{"word":"off","deaf":true}]}},"numbers":{},"habits":{},"loads":{"lamp":{"withdrawn":null,"hold":{"state":"on","boot_end":94622132,"wall_end":null,"unless":null,"by":{"kind":"command","name":"root"},"began":1795659026109},"pulsed":{"last":"off"}},"towel-rail":{"withdrawn":"new thermostat","hold":null,"pulsed":{"last":"off"}}},"travels":{},"sensors":{"cellar-air":{"value":20.0,"at":62223072,"recent":[],"refused":0,"good":null,"hasty":null,"basis":"cellar/t1 in °C ","missed":false}},"ports":{},"thresholds":{"rule fan-when-warm cellar-air high 28 26.5":false,"rule heater-trips cellar-air high 50 45":false},"rises":{},"rules":{"fan-when-warm":{"truth":"false","delay_end":null,"latched":false},"heater-trips":{"truth":"false","delay_end":null,"latched":true}},"duties":{},"alarms":{"house":{"text":"the house has errors, so the one before goes on: 2 errors: error: the house has no [site]; add to one of its files: [site], and below it position = [54.60, -3.14] and zone = \"Europe/London\"","raised":1795659027750,"acknowledged":true,"acknowledged_by":{"kind":"command","name":"root"}},"trip-heater-trips":{"text":"safety trip \"heater-trips\" has tripped: load \"heater\" stays off until somebody has looked and resets it","raised":1795659026645,"acknowledged":false}}}','the boot of that day',62226785,1795659030762,1);
CREATE TABLE told (
        alarm TEXT PRIMARY KEY,
        raised_ms INTEGER NOT NULL
    ) STRICT;
INSERT INTO "told" VALUES('house',1795659027750);
INSERT INTO "told" VALUES('trip-heater-trips',1795659026645);
CREATE INDEX journal_by_time ON journal (at_ms);
COMMIT;
PRAGMA user_version = 3;
