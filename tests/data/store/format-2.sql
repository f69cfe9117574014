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
INSERT INTO "journal" VALUES(1,1795659015465,1,'0b78e62','{"entry":"board-found","board":"cellar"}');
INSERT INTO "journal" VALUES(2,1795659015901,1,'0b78e62','{"entry":"changed","load":"fan","relay":"cellar/1","state":"on","cause":{"cause":"rule","rule":"fan-when-warm","place":"house.toml:37","priority":16,"state":"on","truth":"true","evidence":[{"kind":"threshold","sensor":"cellar-air","unit":"°C","value":30.0,"side":"High","cut_in":28.0,"cut_out":26.5,"truth":"true"}]}}');
INSERT INTO "journal" VALUES(3,1795659015982,1,'0b78e62','{"entry":"held","load":"pump","state":"on","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(4,1795659016088,1,'0b78e62','{"entry":"changed","load":"pump","relay":"cellar/3","state":"on","cause":{"cause":"hold","state":"on","by":{"kind":"command","name":"root"},"began":1795659015982,"until":1795666215982,"until_next_change":false}}');
INSERT INTO "journal" VALUES(5,1795659016154,1,'0b78e62','{"entry":"hold-ended","load":"pump","why":"replaced"}');
INSERT INTO "journal" VALUES(6,1795659016154,1,'0b78e62','{"entry":"held","load":"pump","state":"off","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(7,1795659016249,1,'0b78e62','{"entry":"changed","load":"pump","relay":"cellar/3","state":"off","cause":{"cause":"hold","state":"off","by":{"kind":"command","name":"root"},"began":1795659016154,"until":1795666216154,"until_next_change":false}}');
INSERT INTO "journal" VALUES(8,1795659016357,1,'0b78e62','{"entry":"hold-ended","load":"pump","why":"replaced"}');
INSERT INTO "journal" VALUES(9,1795659016357,1,'0b78e62','{"entry":"held","load":"pump","state":"on","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(10,1795659016458,1,'0b78e62','{"entry":"changed","load":"pump","relay":"cellar/3","state":"on","cause":{"cause":"hold","state":"on","by":{"kind":"command","name":"root"},"began":1795659016357,"until":1795666216357,"until_next_change":false}}');
INSERT INTO "journal" VALUES(11,1795659016602,1,'0b78e62','{"entry":"hold-ended","load":"pump","why":"replaced"}');
INSERT INTO "journal" VALUES(12,1795659016602,1,'0b78e62','{"entry":"held","load":"pump","state":"off","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(13,1795659016732,1,'0b78e62','{"entry":"changed","load":"pump","relay":"cellar/3","state":"off","cause":{"cause":"hold","state":"off","by":{"kind":"command","name":"root"},"began":1795659016602,"until":1795666216602,"until_next_change":false}}');
INSERT INTO "journal" VALUES(14,1795659016937,1,'0b78e62','{"entry":"hold-ended","load":"pump","why":"released"}');
INSERT INTO "journal" VALUES(15,1795659017224,1,'0b78e62','{"entry":"held","load":"lamp","state":"on","by":{"kind":"command","name":"root"}}');
INSERT INTO "journal" VALUES(16,1795659017329,1,'0b78e62','{"entry":"changed","load":"lamp","relay":"cellar/2","state":"on","cause":{"cause":"hold","state":"on","by":{"kind":"command","name":"root"},"began":1795659017224,"until":1795691417224,"until_next_change":false}}');
INSERT INTO "journal" VALUES(17,1795659017383,1,'0b78e62','{"entry":"withdrawn","load":"towel-rail","why":"new thermostat"}');
INSERT INTO "journal" VALUES(18,1795659017657,1,'0b78e62','{"entry":"tripped","load":"heater","rule":"heater-trips"}');
INSERT INTO "journal" VALUES(19,1795659017657,1,'0b78e62','{"entry":"alarm-raised","alarm":"trip-heater-trips","text":"safety trip \"heater-trips\" has tripped: load \"heater\" stays off until somebody has looked and resets it"}');
INSERT INTO "journal" VALUES(20,1795659018672,1,'0b78e62','{"entry":"alarm-raised","alarm":"house","text":"the house has errors, so the one before goes on: 2 errors: error: the house has no [site]; add to one of its files: [site], and below it position = [54.60, -3.14] and zone = \"Europe/London\""}');
CREATE TABLE reservation (
        board TEXT PRIMARY KEY,
        through INTEGER NOT NULL
    ) STRICT;
INSERT INTO "reservation" VALUES('cellar',1001);
CREATE TABLE snapshot (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        json TEXT NOT NULL,
        boot_id TEXT,
        boot_ms INTEGER NOT NULL,
        wall_ms INTEGER NOT NULL,
        trusted INTEGER NOT NULL
    ) STRICT;
INSERT INTO "snapshot" VALUES(1,'{"taken":{"boot":62217706,"wall":1795659021683,"trusted":true},"boards":{"cellar":{"presence":"present","boot":17,"born":null,"beat":48,"heard_at":62217656,"next_number":55,"reserved":1001,"lease_bound":62279256,"contacts":[{"reported":true,"last_reported":true,"changed_latest":62211924,"wish":true,"said":true,"said_in":[4,54],"taken":53,"cause":{"cause":"rule","rule":"fan-when-warm","place":"house.toml:37","priority":16,"state":"on","truth":"true","evidence":[{"kind":"threshold","sensor":"cellar-air","unit":"°C","value":30.0,"side":"High","cut_in":28.0,"cut_out":26.5,"truth":"true"}]},"lost":null,"changes":null,"hands":null,"mismatch_since":null,"runs":{"since":62211712,"cut":false,"starts":[62211924]},"turns":{"since":62211488,"times":1},"proof":{"fault":null,"seen":null}},{"reported":true,"last_reported":true,"changed_latest":62213352,"wish":true,"said":true,"said_in":[33,54],"taken":53,"cause":{"cause":"hold","state":"on","by":{"kind":"command","name":"root"},"began":1795659017224,"until":1795691417224,"until_next_change":false},"lost":null,"changes":null,"hands":null,"mismatch_since":null,"runs":{"since":62213247,"cut":false,"starts":[62213352]},"turns":{"since":62211488,"times":1},"proof":{"fault":null,"seen":null}},{"reported":false,"last_reported":false,"changed_latest":62212755,"wish":false,"said":false,"said_in":[54,24],"taken":53,"cause":{"cause":"hold","state":"off","by":{"kind":"command","name":"root"},"began":1795659016602,"until":1795666216602,"until_next_change":false},"lost":null,"changes":null,"hands":null,"mismatch_since":null,"runs":{"since":null,"cut":false,"starts":[62212111,62212481]},"turns":{"since":62211488,"times":4},"proof":{"fault":null,"seen":null}},{"reported":false,"last_reported":false,"changed_latest":62211488,"wish":false,"said":false,"said_in":[54,0],"taken":53,"cause":{"cause":"rule","rule":"heater-trips","place":"house.toml:42","priority":2,"state":"off","truth":"unknown","evidence":[{"kind":"threshold","sensor":"cellar-air","unit":"°C","value":null,"side":"High","cut_in":50.0,"cut_out":45.0,"truth":"unknown"}]},"lost":null,"changes":null,"hands":null,"mismatch_since":null,"runs":{"since":null,"cut":false,"starts":[]},"turns":{"since":62211488,"times":0},"proof":{"fault":null,"seen":null}},{"reported":false,"last_reported":false,"changed_latest":62211488,"wish":false,"said":false,"said_in":[54,0],"taken":53,"cause":{"cause":"resting"},"lost":null,"changes":null,"hands":null,"mismatch_since":null,"runs":{"since":null,"cut":false,"starts":[]},"turns":{"since":62211488,"times":0},"proof":{"fault":null,"seen":null}}],"restarts":{"since":null,"times":0}}},"fallbacks":{"cellar":{"lease_s":60,"relays":[{"word":"off","deaf":false},{"word":"off","deaf":false},{"word":"off","deaf":false},{"word":"off","deaf":false},{"word":"off","deaf":true}]}},"numbers":{},"loads":{"lamp":{"withdrawn":null,"hold":{"state":"on","boot_end":94613247,"wall_end":null,"unless":null,"by":{"kind":"command","name":"root"},"began":1795659017224}},"towel-rail":{"withdrawn":"new thermostat","hold":null}},"sensors":{"cellar-air":{"value":20.0,"at":62214074,"recent":[],"refused":0,"missed":false}},"ports":{},"thresholds":{"rule fan-when-warm cellar-air high 28 26.5":false,"rule heater-trips cellar-air high 50 45":false},"rules":{"fan-when-warm":{"truth":"false","delay_end":null,"latched":false},"heater-trips":{"truth":"false","delay_end":null,"latched":true}},"alarms":{"house":{"text":"the house has errors, so the one before goes on: 2 errors: error: the house has no [site]; add to one of its files: [site], and below it position = [54.60, -3.14] and zone = \"Europe/London\"","raised":1795659018672,"acknowledged":true},"trip-heater-trips":{"text":"safety trip \"heater-trips\" has tripped: load \"heater\" stays off until somebody has looked and resets it","raised":1795659017657,"acknowledged":false}}}','the boot of that day',62217706,1795659021683,1);
CREATE TABLE told (
        alarm TEXT PRIMARY KEY,
        raised_ms INTEGER NOT NULL
    ) STRICT;
INSERT INTO "told" VALUES('house',1795659018672);
INSERT INTO "told" VALUES('trip-heater-trips',1795659017657);
CREATE INDEX journal_by_time ON journal (at_ms);
COMMIT;
PRAGMA user_version = 2;
