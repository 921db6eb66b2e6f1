PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
PRAGMA application_id = 1346720324;
CREATE TABLE logbook ( -- one row: this file itself
    id          INTEGER PRIMARY KEY CHECK (id = 1),
    created_at  INTEGER NOT NULL,
    seed        TEXT NOT NULL,             -- unsigned 64-bit decimal; every random draw follows from it
    clock       TEXT NOT NULL DEFAULT '',  -- 'real', 'virtual', 'x60'; '' until the first engine decides
    utc_origin  INTEGER NOT NULL DEFAULT 0, -- a scaled clock: the instant it showed...
    real_origin INTEGER NOT NULL DEFAULT 0  -- ...at this true instant; microseconds UTC
) STRICT;
INSERT INTO logbook VALUES(1,1772409600000000,'7','virtual',1772409600000000,1772409600000000);
CREATE TABLE model ( -- what was bought
    id           INTEGER PRIMARY KEY,
    name         TEXT NOT NULL COLLATE NOCASE UNIQUE,
    maker        TEXT NOT NULL DEFAULT '',
    size         TEXT NOT NULL,          -- 'AA'
    chemistry    TEXT NOT NULL,          -- 'NiMH'
    rated_charge REAL NOT NULL,          -- rated capacity, A.s
    price        REAL,                   -- of one cell
    currency     TEXT NOT NULL DEFAULT ''
) STRICT;
INSERT INTO model VALUES(1,'Golden 2000','','AA','NiMH',7200.0,NULL,'');
CREATE TABLE cell ( -- one physical cell
    id          INTEGER PRIMARY KEY,
    label       TEXT NOT NULL COLLATE NOCASE UNIQUE, -- as written on it; never changes
    model       INTEGER NOT NULL REFERENCES model (id),
    enrolled_at INTEGER NOT NULL
) STRICT;
INSERT INTO cell VALUES(1,'G-01',1,1772409600000000);
INSERT INTO cell VALUES(2,'G-02',1,1772409600000000);
CREATE TABLE script ( -- the text of a protocol, study or module, kept once
    hash TEXT NOT NULL PRIMARY KEY,  -- SHA-256 of the text, hexadecimal
    name TEXT NOT NULL,              -- the file's name when it was first taken in
    text TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO script VALUES('2ab78ada2f2ce3175e1542532490523f3790acf97bd6f60ca43e7c6a08661e17','protocol/short',replace('return protocol {\n  title = "Short",\n  results = { out = "Ah" },\n  run = function(cell)\n    cell:charge { current = "0.5 It", stop = { time = "6 min" } }\n    record("out", cell:discharge { current = "0.5 It", stop = { time = "5 min" } }.charge, "Ah")\n  end,\n}\n','\n',char(10)));
INSERT INTO script VALUES('8873413422f5ee9bb907532e03d01b976d4642e94a1767e7e0bc1b9565f011be','shared',replace('return { twice = function(x) return 2 * x end }\n','\n',char(10)));
INSERT INTO script VALUES('a445607d30dfccc97940f3623cbb1f12b06dcded52804530140896e8d89c7985','words.lua',replace('local shared = require "shared"\nreturn protocol {\n  title = "Every word",\n  params = { rate = { unit = "A", default = "0.5 It", about = "current" } },\n  results = { capacity = "Ah", resistance = "ohm", drawn = "" },\n  run = function(cell, p, state)\n    if not state then\n      cell:charge { current = p.rate, voltage = "1.6 V", stop = { time = "10 min", charge = "1 Ah", temperature = "45 degC" } }\n      note("first lap, begun at " .. now())\n      restart_with { lap = 2, drawn = random(1, 1000) }\n    end\n    record("drawn", shared.twice(state.drawn), "")\n    cell:rest { time = "5 min" }\n    local pulse = cell:pulse { current = { "0.2 It", "2 It" }, time = { "10 s", "3 s" } }\n    record("resistance", pulse.resistance, "ohm", { uncertainty = 0.001 })\n    local out = cell:discharge { power = "1 W", stop = { voltage = "1.0 V", energy = "0.05 Wh" } }\n    record("capacity", out.charge, "Ah")\n    cell:discharge { resistance = "5 ohm", stop = { when = function(r) return r.elapsed > 60 end, time = "5 min" } }\n    for _, key in ipairs { "voltage", "temperature" } do\n      note(key .. " " .. tostring(cell:read {}[key] > 0))\n    end\n    wait("PT1H")\n    wait_until("2026-03-09")\n    cell:charge { current = "1 It", stop = { time = "50 min", drop = "5 mV", blind = "5 min", flat = "0.01 mV/h", temperature_rate = "2 K/min" } }\n  end,\n}\n','\n',char(10)));
INSERT INTO script VALUES('f07306225659dec7f5fcae9c6ffbf1021e01144c46ea44fc58740332dfd25207','both.lua',replace('return study {\n  title = "Both",\n  run = function(s)\n    local arms = s:split { shelf = 1 }\n    s:perform("short", s.cells)\n    s:store(arms.shelf, { temperature = "20 degC" })\n    s:wait("P3D", { late = "P1D" })\n    s:perform("short", arms.shelf:draw(1))\n    s:withdraw(arms.shelf, "lost")\n  end,\n}\n','\n',char(10)));
CREATE TABLE session ( -- one engine's life on this logbook
    id         INTEGER PRIMARY KEY,
    began_at   INTEGER NOT NULL,
    bench_name TEXT NOT NULL,
    bench_hash TEXT NOT NULL,        -- of the bench file's text
    version    TEXT NOT NULL,        -- the engine's
    ended_at   INTEGER,              -- NULL: still at work, or ended without a word
    ended_why  TEXT
) STRICT;
INSERT INTO session VALUES(1,1772409600000000,'bench.lua','cbda28c1a56adece24079cf573b6043c57c20b45c684b80ed52dc297a74e79f4','0.1.0',1773015526400000,'nothing left to do');
INSERT INTO session VALUES(2,1773015526400000,'bench.lua','cbda28c1a56adece24079cf573b6043c57c20b45c684b80ed52dc297a74e79f4','0.1.0',1773275746400000,'nothing left to do');
CREATE TABLE run ( -- one execution of a protocol or a study
    id             INTEGER PRIMARY KEY,
    parent         INTEGER REFERENCES run (id), -- the study's run that started it...
    parent_segment INTEGER,                     -- ...by this entry of its journal
    parent_n       INTEGER,
    kind           TEXT NOT NULL,               -- 'protocol', 'study'
    script_name    TEXT NOT NULL,
    script_hash    TEXT NOT NULL REFERENCES script (hash),
    params         TEXT NOT NULL,               -- JSON object: the values set for the script
    cell           INTEGER REFERENCES cell (id), -- NULL for a study
    channel        TEXT NOT NULL DEFAULT '',    -- of the bench; '' while it has none
    seed           TEXT NOT NULL,               -- unsigned 64-bit decimal
    state          TEXT NOT NULL CHECK (state IN
                   ('queued', 'running', 'paused', 'attention', 'done', 'failed', 'stopped')),
    segment        INTEGER NOT NULL DEFAULT 0,  -- the journal's segment now written
    segment_state  TEXT,                        -- JSON that this segment began with
    segment_at     INTEGER,                     -- when it began
    queued_at      INTEGER NOT NULL,
    due_at         INTEGER,                     -- not to begin before; NULL: at once
    started_at     INTEGER,
    ended_at       INTEGER,                     -- NULL while the run is open
    why            TEXT,                        -- why it failed, stopped or needs attention
    engine_version TEXT NOT NULL DEFAULT '',
    lua_version    TEXT NOT NULL DEFAULT ''
) STRICT;
INSERT INTO run VALUES(1,NULL,NULL,NULL,'protocol','words.lua','a445607d30dfccc97940f3623cbb1f12b06dcded52804530140896e8d89c7985','{"rate":"800 mA"}',1,'S1','3285893018271840280','done',1,'{"drawn":178,"lap":2}',1772410200000000,1772409600000000,NULL,1772409600000000,1773015515600000,NULL,'0.1.0','Lua 5.4.4');
INSERT INTO run VALUES(2,NULL,NULL,NULL,'protocol','words.lua','a445607d30dfccc97940f3623cbb1f12b06dcded52804530140896e8d89c7985','{"rate":"800 mA"}',2,'S2','12773255382503106916','running',1,'{"drawn":41,"lap":2}',1772410200000000,1772409600000000,NULL,1772409600000000,NULL,NULL,'0.1.0','Lua 5.4.4');
INSERT INTO run VALUES(3,NULL,NULL,NULL,'study','both.lua','f07306225659dec7f5fcae9c6ffbf1021e01144c46ea44fc58740332dfd25207','{}',NULL,'','4060662945262005655','done',0,NULL,1773015526400000,1773015526400000,NULL,1773015526400000,1773275746400000,NULL,'0.1.0','Lua 5.4.4');
INSERT INTO run VALUES(4,3,0,2,'protocol','short','2ab78ada2f2ce3175e1542532490523f3790acf97bd6f60ca43e7c6a08661e17','{}',2,'S1','7481885612447630440','done',0,NULL,1773015526400000,1773015526400000,NULL,1773015526400000,1773016186400000,NULL,'0.1.0','Lua 5.4.4');
INSERT INTO run VALUES(5,3,0,2,'protocol','short','2ab78ada2f2ce3175e1542532490523f3790acf97bd6f60ca43e7c6a08661e17','{}',1,'S2','18065247425074226653','done',0,NULL,1773015526400000,1773015526400000,NULL,1773015526400000,1773016186400000,NULL,'0.1.0','Lua 5.4.4');
INSERT INTO run VALUES(6,3,0,5,'protocol','short','2ab78ada2f2ce3175e1542532490523f3790acf97bd6f60ca43e7c6a08661e17','{}',2,'S1','2714703468610867146','done',0,NULL,1773275086400000,1773275086400000,1773275086400000,1773275086400000,1773275746400000,NULL,'0.1.0','Lua 5.4.4');
CREATE TABLE study_cell ( -- the cells of a study
    run  INTEGER NOT NULL REFERENCES run (id),
    cell INTEGER NOT NULL REFERENCES cell (id),
    PRIMARY KEY (run, cell)
) STRICT, WITHOUT ROWID;
INSERT INTO study_cell VALUES(3,1);
INSERT INTO study_cell VALUES(3,2);
CREATE TABLE run_module ( -- a module that the run's script required, pinned
    run  INTEGER NOT NULL REFERENCES run (id),
    name TEXT NOT NULL,
    hash TEXT NOT NULL REFERENCES script (hash),
    PRIMARY KEY (run, name)
) STRICT, WITHOUT ROWID;
INSERT INTO run_module VALUES(1,'shared','8873413422f5ee9bb907532e03d01b976d4642e94a1767e7e0bc1b9565f011be');
INSERT INTO run_module VALUES(2,'shared','8873413422f5ee9bb907532e03d01b976d4642e94a1767e7e0bc1b9565f011be');
INSERT INTO run_module VALUES(3,'protocol/short','2ab78ada2f2ce3175e1542532490523f3790acf97bd6f60ca43e7c6a08661e17');
INSERT INTO run_module VALUES(3,'protocol/words','a445607d30dfccc97940f3623cbb1f12b06dcded52804530140896e8d89c7985');
INSERT INTO run_module VALUES(4,'protocol/short','2ab78ada2f2ce3175e1542532490523f3790acf97bd6f60ca43e7c6a08661e17');
INSERT INTO run_module VALUES(4,'protocol/words','a445607d30dfccc97940f3623cbb1f12b06dcded52804530140896e8d89c7985');
INSERT INTO run_module VALUES(5,'protocol/short','2ab78ada2f2ce3175e1542532490523f3790acf97bd6f60ca43e7c6a08661e17');
INSERT INTO run_module VALUES(5,'protocol/words','a445607d30dfccc97940f3623cbb1f12b06dcded52804530140896e8d89c7985');
INSERT INTO run_module VALUES(6,'protocol/short','2ab78ada2f2ce3175e1542532490523f3790acf97bd6f60ca43e7c6a08661e17');
INSERT INTO run_module VALUES(6,'protocol/words','a445607d30dfccc97940f3623cbb1f12b06dcded52804530140896e8d89c7985');
CREATE TABLE journal ( -- everything a script asked for, in order, and what came of it
    run        INTEGER NOT NULL REFERENCES run (id),
    segment    INTEGER NOT NULL,
    n          INTEGER NOT NULL,
    name       TEXT NOT NULL,        -- 'charge', 'record'
    args       TEXT NOT NULL,        -- canonical JSON
    intent_at  INTEGER NOT NULL,
    outcome    TEXT,                 -- JSON; NULL while it is not done
    outcome_at INTEGER,
    PRIMARY KEY (run, segment, n)
) STRICT, WITHOUT ROWID;
INSERT INTO journal VALUES(1,0,1,'charge','{"current":0.8,"stop":{"charge":"1 Ah","temperature":"45 degC","time":"10 min"},"voltage":"1.6 V"}',1772409600000000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.13333333333333333,"energy":0.18038523376479965,"duration":600,"first_voltage":1.3335247928060896,"last_voltage":1.3590648645107937,"mean_voltage":1.3528892532359973,"mid_voltage":1.3543006591658944,"peak_voltage":1.3590648645107937,"last_current":0.8,"max_temperature":20.498246357648988}',1772410200000000);
INSERT INTO journal VALUES(1,0,2,'note','{"text":"first lap, begun at 1772410200.0"}',1772410200000000,'true',1772410200000000);
INSERT INTO journal VALUES(1,0,3,'restart_with','{"state":{"drawn":178,"lap":2}}',1772410200000000,'{"error":": there are no cells to perform it on; give it at least one"}',1772410200000000);
INSERT INTO journal VALUES(1,1,1,'record','{"name":"drawn","unit":"","value":356}',1772410200000000,'true',1772410200000000);
INSERT INTO journal VALUES(1,1,2,'rest','{"time":"5 min"}',1772410200000000,'{"ended_by":"time","quality":"good","gaps":0,"duration":300,"first_voltage":1.3415148968158337,"last_voltage":1.3266350619094907,"mean_voltage":1.3286108672211303,"peak_voltage":1.3415148968158337,"last_current":0,"max_temperature":20.536986537062067}',1772410500000000);
INSERT INTO journal VALUES(1,1,3,'pulse','{"current":["0.2 It","2 It"],"time":["10 s","3 s"]}',1772410500000000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.0044444444444444444,"energy":0.005571544839435673,"duration":13,"first_voltage":1.3175753981109013,"last_voltage":1.230073595089603,"mean_voltage":1.297255046954265,"peak_voltage":1.3175753981109013,"last_current":-4,"max_temperature":20.299989064629056,"resistance":0.023812010310465967}',1772410513000000);
INSERT INTO journal VALUES(1,1,4,'record','{"name":"resistance","uncertainty":0.001,"unit":"ohm","value":0.023812010310465967}',1772410513000000,'true',1772410513000000);
INSERT INTO journal VALUES(1,1,5,'discharge','{"power":"1 W","stop":{"energy":"0.05 Wh","voltage":"1.0 V"}}',1772410513000000,'{"ended_by":"energy","quality":"good","gaps":0,"charge":0.03862770661434252,"energy":0.04999999999999999,"duration":179.9826690487984,"first_voltage":1.3016683866209564,"last_voltage":1.2910692700268498,"mean_voltage":1.2944138230845084,"mid_voltage":1.2937425138120588,"peak_voltage":1.3016683866209564,"last_current":-0.7745762566524883,"max_temperature":20.275726886561944}',1772410693978862);
INSERT INTO journal VALUES(1,1,6,'record','{"name":"capacity","unit":"Ah","value":0.03862770661434252}',1772410693978862,'true',1772410693978862);
INSERT INTO journal VALUES(1,1,7,'discharge','{"resistance":"5 ohm","stop":{"time":"5 min","when":{"function":true}}}',1772410693978862,'{"ended_by":"when","quality":"good","gaps":0,"charge":0.005375599129698423,"energy":0.007029125231679052,"duration":74,"first_voltage":1.3024847536204636,"last_voltage":1.3098141547562567,"mean_voltage":1.3075948440953862,"mid_voltage":1.3080490113443806,"peak_voltage":1.3098824041234545,"last_current":-0.26204185259787616,"max_temperature":20.334431266111906}',1772410767978862);
INSERT INTO journal VALUES(1,1,8,'read','{}',1772410767978862,'{"ended_by":"time","quality":"good","gaps":0,"duration":0,"first_voltage":1.3159261972028071,"last_voltage":1.3159261972028071,"mean_voltage":1.3159261972028071,"peak_voltage":1.3159261972028071,"last_current":0,"max_temperature":20.213358588390744}',1772410767978862);
INSERT INTO journal VALUES(1,1,9,'note','{"text":"voltage true"}',1772410767978862,'true',1772410767978862);
INSERT INTO journal VALUES(1,1,10,'read','{}',1772410767978862,'{"ended_by":"time","quality":"good","gaps":0,"duration":0,"first_voltage":1.3160195602808638,"last_voltage":1.3160195602808638,"mean_voltage":1.3160195602808638,"peak_voltage":1.3160195602808638,"last_current":0,"max_temperature":20.20955413413997}',1772410767978862);
INSERT INTO journal VALUES(1,1,11,'note','{"text":"temperature true"}',1772410767978862,'true',1772410767978862);
INSERT INTO journal VALUES(1,1,12,'wait','{"time":"PT1H"}',1772410767978862,'true',1772414367978862);
INSERT INTO journal VALUES(1,1,13,'wait_until','{"until":"2026-03-09T00:00:00Z"}',1772414367978862,'true',1773014400000000);
INSERT INTO journal VALUES(1,1,14,'charge','{"current":"1 It","stop":{"blind":"5 min","drop":"5 mV","flat":"0.01 mV/h","temperature_rate":"2 K/min","time":"50 min"}}',1773014400000000,'{"ended_by":"drop","quality":"good","gaps":0,"charge":0.6197777777777765,"energy":0.8917011917724346,"duration":1115.5999999999979,"first_voltage":1.366580178225022,"last_voltage":1.455700411297232,"mean_voltage":1.4387434073058312,"mid_voltage":1.4478186470557226,"peak_voltage":1.462197301364662,"last_current":2,"max_temperature":37.655786016329735}',1773015515600000);
INSERT INTO journal VALUES(2,0,1,'charge','{"current":0.8,"stop":{"charge":"1 Ah","temperature":"45 degC","time":"10 min"},"voltage":"1.6 V"}',1772409600000000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.13333333333333333,"energy":0.1799350761986025,"duration":600,"first_voltage":1.3301677013522364,"last_voltage":1.3562821958435642,"mean_voltage":1.349513071489519,"mid_voltage":1.3508254035069023,"peak_voltage":1.3562821958435642,"last_current":0.8,"max_temperature":20.380923478453624}',1772410200000000);
INSERT INTO journal VALUES(2,0,2,'note','{"text":"first lap, begun at 1772410200.0"}',1772410200000000,'true',1772410200000000);
INSERT INTO journal VALUES(2,0,3,'restart_with','{"state":{"drawn":41,"lap":2}}',1772410200000000,'{"error":": there are no cells to perform it on; give it at least one"}',1772410200000000);
INSERT INTO journal VALUES(2,1,1,'record','{"name":"drawn","unit":"","value":82}',1772410200000000,'true',1772410200000000);
INSERT INTO journal VALUES(2,1,2,'rest','{"time":"5 min"}',1772410200000000,'{"ended_by":"time","quality":"good","gaps":0,"duration":300,"first_voltage":1.3408019069513508,"last_voltage":1.3261537126510594,"mean_voltage":1.3284174901605827,"peak_voltage":1.3408019069513508,"last_current":0,"max_temperature":20.565483106856526}',1772410500000000);
INSERT INTO journal VALUES(2,1,3,'pulse','{"current":["0.2 It","2 It"],"time":["10 s","3 s"]}',1772410500000000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.0044444444444444444,"energy":0.0056142454176303135,"duration":13,"first_voltage":1.3186853904485734,"last_voltage":1.2420939584145023,"mean_voltage":1.3009692083032824,"peak_voltage":1.3186853904485734,"last_current":-4,"max_temperature":20.250647005288396,"resistance":0.020700899930963617}',1772410513000000);
INSERT INTO journal VALUES(2,1,4,'record','{"name":"resistance","uncertainty":0.001,"unit":"ohm","value":0.020700899930963617}',1772410513000000,'true',1772410513000000);
INSERT INTO journal VALUES(2,1,5,'discharge','{"power":"1 W","stop":{"energy":"0.05 Wh","voltage":"1.0 V"}}',1772410513000000,NULL,NULL);
INSERT INTO journal VALUES(3,0,1,'place','{"cells":["G-02"],"detail":{},"kind":"arm","label":"shelf"}',1773015526400000,'true',1773015526400000);
INSERT INTO journal VALUES(3,0,2,'perform','{"cells":["G-02","G-01"],"channel":"","params":{},"protocol":"short"}',1773015526400000,'{"runs":[{"cell":"G-02","run":4,"state":"done","why":null,"age":0.0,"charged":1773015886.4000001,"timing":"in time","results":{"out":0.083333333333333329}},{"cell":"G-01","run":5,"state":"done","why":null,"age":10.800000000000001,"charged":1773015886.4000001,"timing":"in time","results":{"out":0.083333333333333329}}]}',1773016186400000);
INSERT INTO journal VALUES(3,0,3,'place','{"cells":["G-02"],"detail":{"temperature":"20 degC"},"kind":"shelf","label":""}',1773016186400000,'true',1773016186400000);
INSERT INTO journal VALUES(3,0,4,'wait_age','{"age":"P3D","early":"P0D","late":"P1D","until":"2026-03-12T00:24:46.400Z"}',1773016186400000,'true',1773275086400000);
INSERT INTO journal VALUES(3,0,5,'perform','{"cells":["G-02"],"channel":"","params":{},"protocol":"short"}',1773275086400000,'{"runs":[{"cell":"G-02","run":6,"state":"done","why":null,"age":259200.0,"charged":1773275446.4000001,"timing":"in time","results":{"out":0.083333333333333329}}]}',1773275746400000);
INSERT INTO journal VALUES(3,0,6,'place','{"cells":["G-02"],"detail":{"reason":"lost"},"kind":"withdrawn","label":""}',1773275746400000,'true',1773275746400000);
INSERT INTO journal VALUES(4,0,1,'charge','{"current":"0.5 It","stop":{"time":"6 min"}}',1773015526400000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.1,"energy":0.14156839677954813,"duration":360,"first_voltage":1.4290064318961868,"last_voltage":1.4148754999975368,"mean_voltage":1.4156839677954816,"mid_voltage":1.4140499701100047,"peak_voltage":1.4290064318961868,"last_current":1,"max_temperature":37.3567755864062}',1773015886400000);
INSERT INTO journal VALUES(4,0,2,'discharge','{"current":"0.5 It","stop":{"time":"5 min"}}',1773015886400000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.08333333333333333,"energy":0.11290115779249575,"duration":300,"first_voltage":1.3762179928845186,"last_voltage":1.353153154924259,"mean_voltage":1.354813893509949,"mid_voltage":1.352242743009334,"peak_voltage":1.3762179928845186,"last_current":-1,"max_temperature":34.585748960147605}',1773016186400000);
INSERT INTO journal VALUES(4,0,3,'record','{"name":"out","unit":"Ah","value":0.08333333333333333}',1773016186400000,'true',1773016186400000);
INSERT INTO journal VALUES(5,0,1,'charge','{"current":"0.5 It","stop":{"time":"6 min"}}',1773015526400000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.1,"energy":0.14188522536688644,"duration":360,"first_voltage":1.425043784463238,"last_voltage":1.4188022942931808,"mean_voltage":1.4188522536688644,"mid_voltage":1.4182513335098337,"peak_voltage":1.425043784463238,"last_current":1,"max_temperature":37.13768874792047}',1773015886400000);
INSERT INTO journal VALUES(5,0,2,'discharge','{"current":"0.5 It","stop":{"time":"5 min"}}',1773015886400000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.08333333333333333,"energy":0.11256487215303798,"duration":300,"first_voltage":1.374305617543472,"last_voltage":1.349110740550826,"mean_voltage":1.3507784658364559,"mid_voltage":1.3480253472196981,"peak_voltage":1.374305617543472,"last_current":-1,"max_temperature":34.613075426486546}',1773016186400000);
INSERT INTO journal VALUES(5,0,3,'record','{"name":"out","unit":"Ah","value":0.08333333333333333}',1773016186400000,'true',1773016186400000);
INSERT INTO journal VALUES(6,0,1,'charge','{"current":"0.5 It","stop":{"time":"6 min"}}',1773275086400000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.1,"energy":0.14332658516389474,"duration":360,"first_voltage":1.417110730848948,"last_voltage":1.4320513456632655,"mean_voltage":1.4332658516389476,"mid_voltage":1.4361295763011017,"peak_voltage":1.4361537359872067,"last_current":1,"max_temperature":26.958318069590483}',1773275446400000);
INSERT INTO journal VALUES(6,0,2,'discharge','{"current":"0.5 It","stop":{"time":"5 min"}}',1773275446400000,'{"ended_by":"time","quality":"good","gaps":0,"charge":0.08333333333333333,"energy":0.11335326850983339,"duration":300,"first_voltage":1.3935247069958978,"last_voltage":1.348392803057483,"mean_voltage":1.3602392221180006,"mid_voltage":1.357354474698743,"peak_voltage":1.3935247069958978,"last_current":-1,"max_temperature":26.94167969394913}',1773275746400000);
INSERT INTO journal VALUES(6,0,3,'record','{"name":"out","unit":"Ah","value":0.08333333333333333}',1773275746400000,'true',1773275746400000);
CREATE TABLE step ( -- one physical action on one cell: what was to be done
    id         INTEGER PRIMARY KEY,
    run        INTEGER NOT NULL,
    segment    INTEGER NOT NULL,
    n          INTEGER NOT NULL,     -- the journal entry it answers
    cell       INTEGER REFERENCES cell (id),
    channel    TEXT NOT NULL,
    kind       TEXT NOT NULL,        -- 'charge', 'discharge', 'rest', 'pulse', 'read'
    how        TEXT NOT NULL,        -- how its values were obtained: 'simulated'
    plan       TEXT NOT NULL,        -- JSON: drive, ends, record
    started_at INTEGER NOT NULL,
    FOREIGN KEY (run, segment, n) REFERENCES journal DEFERRABLE INITIALLY DEFERRED
) STRICT;
INSERT INTO step VALUES(1,1,0,1,1,'S1','charge','simulated','{"kind":"charge","current":0.8,"ceiling":1.6,"time":600,"charge":1,"blind":0,"temperature":45,"every":120,"by_voltage":0.003,"by_current":0.016,"by_temperature":0.5}',1772409600000000);
INSERT INTO step VALUES(2,2,0,1,2,'S2','charge','simulated','{"kind":"charge","current":0.8,"ceiling":1.6,"time":600,"charge":1,"blind":0,"temperature":45,"every":120,"by_voltage":0.003,"by_current":0.016,"by_temperature":0.5}',1772409600000000);
INSERT INTO step VALUES(3,1,1,2,1,'S1','rest','simulated','{"kind":"rest","time":300,"blind":0,"every":3600,"by_voltage":0.001,"by_temperature":0.5}',1772410200000000);
INSERT INTO step VALUES(4,2,1,2,2,'S2','rest','simulated','{"kind":"rest","time":300,"blind":0,"every":3600,"by_voltage":0.001,"by_temperature":0.5}',1772410200000000);
INSERT INTO step VALUES(5,1,1,3,1,'S1','pulse','simulated','{"kind":"pulse","level_1":{"level":1,"current":-0.4,"time":10},"level_2":{"level":2,"current":-4,"time":3},"blind":0,"every":0,"by_voltage":0.003,"by_temperature":0.5}',1772410500000000);
INSERT INTO step VALUES(6,2,1,3,2,'S2','pulse','simulated','{"kind":"pulse","level_1":{"level":1,"current":-0.4,"time":10},"level_2":{"level":2,"current":-4,"time":3},"blind":0,"every":0,"by_voltage":0.003,"by_temperature":0.5}',1772410500000000);
INSERT INTO step VALUES(7,1,1,5,1,'S1','discharge','simulated','{"kind":"discharge","power":-1,"voltage":1,"energy":0.05,"blind":0,"every":120,"by_voltage":0.003,"by_current":0.02,"by_temperature":0.5}',1772410513000000);
INSERT INTO step VALUES(8,2,1,5,2,'S2','discharge','simulated','{"kind":"discharge","power":-1,"voltage":1,"energy":0.05,"blind":0,"every":120,"by_voltage":0.003,"by_current":0.02,"by_temperature":0.5}',1772410513000000);
INSERT INTO step VALUES(9,1,1,7,1,'S1','discharge','simulated','{"kind":"discharge","resistance":5,"time":300,"blind":0,"when":true,"every":120,"by_voltage":0.003,"by_current":0.0057599999999999995,"by_temperature":0.5}',1772410693978862);
INSERT INTO step VALUES(11,1,1,8,1,'S1','read','simulated','{"kind":"read","time":0,"blind":0,"every":0,"by_voltage":0.003,"by_temperature":0.5}',1772410767978862);
INSERT INTO step VALUES(12,1,1,10,1,'S1','read','simulated','{"kind":"read","time":0,"blind":0,"every":0,"by_voltage":0.003,"by_temperature":0.5}',1772410767978862);
INSERT INTO step VALUES(15,1,1,14,1,'S1','charge','simulated','{"kind":"charge","current":2,"time":3000,"drop":0.005,"flat":2.777777777777778e-09,"blind":300,"temperature_rate":0.03333333333333333,"backstop_charge":2.4,"every":120,"by_voltage":0.003,"by_current":0.04,"by_temperature":0.5}',1773014400000000);
INSERT INTO step VALUES(17,4,0,1,2,'S1','charge','simulated','{"kind":"charge","current":1,"time":360,"blind":0,"backstop_charge":2.4,"every":120,"by_voltage":0.003,"by_current":0.02,"by_temperature":0.5}',1773015526400000);
INSERT INTO step VALUES(18,5,0,1,1,'S2','charge','simulated','{"kind":"charge","current":1,"time":360,"blind":0,"backstop_charge":2.4,"every":120,"by_voltage":0.003,"by_current":0.02,"by_temperature":0.5}',1773015526400000);
INSERT INTO step VALUES(19,4,0,2,2,'S1','discharge','simulated','{"kind":"discharge","current":-1,"time":300,"blind":0,"every":120,"by_voltage":0.003,"by_current":0.02,"by_temperature":0.5}',1773015886400000);
INSERT INTO step VALUES(20,5,0,2,1,'S2','discharge','simulated','{"kind":"discharge","current":-1,"time":300,"blind":0,"every":120,"by_voltage":0.003,"by_current":0.02,"by_temperature":0.5}',1773015886400000);
INSERT INTO step VALUES(21,6,0,1,2,'S1','charge','simulated','{"kind":"charge","current":1,"time":360,"blind":0,"backstop_charge":2.4,"every":120,"by_voltage":0.003,"by_current":0.02,"by_temperature":0.5}',1773275086400000);
INSERT INTO step VALUES(22,6,0,2,2,'S1','discharge','simulated','{"kind":"discharge","current":-1,"time":300,"blind":0,"every":120,"by_voltage":0.003,"by_current":0.02,"by_temperature":0.5}',1773275446400000);
CREATE TABLE outcome ( -- what a step has come to: so far, or in the end
    step            INTEGER PRIMARY KEY REFERENCES step (id),
    at              INTEGER NOT NULL, -- as of; microseconds UTC
    ended_at        INTEGER,          -- NULL while the step is open
    samples         INTEGER NOT NULL, -- how many are on record
    charge          REAL,             -- A.s, magnitude
    energy          REAL,             -- J, magnitude
    duration        REAL,             -- s
    first_voltage   REAL,             -- V
    last_voltage    REAL,
    mean_voltage    REAL,             -- over time
    mid_voltage     REAL,             -- at half the charge
    peak_voltage    REAL,
    max_temperature REAL,             -- degC
    resistance      REAL,             -- ohm
    gaps            INTEGER NOT NULL, -- how many stretches were not observed
    gap_time        REAL NOT NULL,    -- s, all of them
    ended_by        TEXT,             -- 'voltage', 'time', ...
    quality         TEXT,             -- 'good', 'gap', 'void'
    progress        TEXT              -- of an open step: what takes it up again
) STRICT;
INSERT INTO outcome VALUES(1,1772410200000000,1772410200000000,10,480.0,649.38684155327871393,600.0,1.3335247928060895983,1.3590648645107936687,1.3528892532359972911,1.3543006591658943715,1.3590648645107936687,20.498246357648987725,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(2,1772410200000000,1772410200000000,9,480.0,647.7662743149689959,600.0,1.3301677013522363868,1.3562821958435642422,1.3495130714895189338,1.350825403506902278,1.3562821958435642422,20.380923478453624396,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(3,1772410500000000,1772410500000000,10,NULL,NULL,300.0,1.3415148968158336906,1.3266350619094906537,1.3286108672211303094,NULL,1.3415148968158336906,20.536986537062066559,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(4,1772410500000000,1772410500000000,10,NULL,NULL,300.0,1.3408019069513508192,1.3261537126510594131,1.3284174901605827479,NULL,1.3408019069513508192,20.565483106856525807,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(5,1772410513000000,1772410513000000,15,16.0,20.057561421968422622,13.0,1.3175753981109012968,1.2300735950896029002,1.2972550469542649675,NULL,1.3175753981109012968,20.299989064629055945,0.023812010310465966944,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(6,1772410513000000,1772410513000000,15,16.0,20.211283503469129386,13.0,1.3186853904485733579,1.2420939584145023193,1.3009692083032824427,NULL,1.3186853904485733579,20.25064700528839623,0.020700899930963616996,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(7,1772410692982669,1772410692982669,4,139.05974381163306929,179.99999999999997157,179.98266904879841376,1.3016683866209564079,1.2910692700268497912,1.2944138230845083636,1.2937425138120588474,1.3016683866209564079,20.275726886561944439,NULL,0,0.0,'energy','good',NULL);
INSERT INTO outcome VALUES(9,1772410767978862,1772410767978862,4,19.35215686691432424,25.30485083404458635,74.0,1.3024847536204635645,1.3098141547562567321,1.3075948440953861773,1.3080490113443805633,1.309882404123454469,20.334431266111906212,NULL,0,0.0,'when','good',NULL);
INSERT INTO outcome VALUES(11,1772410767978862,1772410767978862,1,NULL,NULL,0.0,1.3159261972028071241,1.3159261972028071241,1.3159261972028071241,NULL,1.3159261972028071241,20.213358588390743619,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(12,1772410767978862,1772410767978862,1,NULL,NULL,0.0,1.3160195602808637538,1.3160195602808637538,1.3160195602808637538,NULL,1.3160195602808637538,20.209554134139970926,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(15,1773015515600000,1773015515600000,44,2231.1999999999957253,3210.1242903807642506,1115.5999999999978626,1.3665801782250219797,1.4557004112972320442,1.4387434073058311678,1.4478186470557226073,1.4621973013646620831,37.655786016329734877,NULL,0,0.0,'drop','good',NULL);
INSERT INTO outcome VALUES(17,1773015886400000,1773015886400000,9,360.0,509.64622840637332501,360.0,1.4290064318961868128,1.4148754999975368118,1.415683967795481557,1.4140499701100046614,1.4290064318961868128,37.356775586406200772,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(18,1773015886400000,1773015886400000,6,360.0,510.78681132079117332,360.0,1.4250437844632379835,1.4188022942931808323,1.4188522536688643604,1.4182513335098336781,1.4250437844632379835,37.137688747920471143,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(19,1773016186400000,1773016186400000,10,300.0,406.44416805298470762,300.0,1.376217992884518626,1.3531531549242590273,1.3548138935099489632,1.3522427430093340028,1.376217992884518626,34.585748960147604691,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(20,1773016186400000,1773016186400000,11,300.0,405.23353975093675673,300.0,1.3743056175434720245,1.3491107405508260264,1.3507784658364558882,1.3480253472196981334,1.3743056175434720245,34.613075426486545893,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(21,1773275446400000,1773275446400000,11,360.0,515.9757065900211046,360.0,1.417110730848947897,1.4320513456632655291,1.4332658516389475966,1.4361295763011017179,1.4361537359872067476,26.958318069590482934,NULL,0,0.0,'time','good',NULL);
INSERT INTO outcome VALUES(22,1773275746400000,1773275746400000,11,300.0,408.07176663540019488,300.0,1.3935247069958978105,1.3483928030574829914,1.3602392221180006348,1.3573544746987429299,1.3935247069958978105,26.94167969394912987,NULL,0,0.0,'time','good',NULL);
CREATE TABLE placement ( -- what a study did with a cell outside of runs
    id      INTEGER PRIMARY KEY,
    run     INTEGER NOT NULL,        -- the study's
    segment INTEGER NOT NULL,
    n       INTEGER NOT NULL,
    cell    INTEGER NOT NULL REFERENCES cell (id),
    kind    TEXT NOT NULL CHECK (kind IN ('arm', 'shelf', 'service', 'withdrawn')),
    label   TEXT NOT NULL DEFAULT '', -- the arm's name
    detail  TEXT NOT NULL DEFAULT '{}', -- JSON: state of charge, temperature, cycles a day, the reason
    at      INTEGER NOT NULL,
    FOREIGN KEY (run, segment, n) REFERENCES journal DEFERRABLE INITIALLY DEFERRED
) STRICT;
INSERT INTO placement VALUES(1,3,0,1,2,'arm','shelf','{}',1773015526400000);
INSERT INTO placement VALUES(2,3,0,3,2,'shelf','','{"temperature":"20 degC"}',1773016186400000);
INSERT INTO placement VALUES(3,3,0,6,2,'withdrawn','','{"reason":"lost"}',1773275746400000);
CREATE TABLE sample (
    step        INTEGER NOT NULL,    -- step (id)
    k           INTEGER NOT NULL,    -- 0, 1, 2 ... within the step, without a hole
    microsecond INTEGER NOT NULL,    -- since the step's start
    microvolt   INTEGER NOT NULL,
    microampere INTEGER NOT NULL,    -- positive into the cell
    millidegree INTEGER,             -- degC / 1000
    PRIMARY KEY (step, k)
) STRICT, WITHOUT ROWID;
INSERT INTO sample VALUES(1,0,0,1333525,800000,20025);
INSERT INTO sample VALUES(1,1,6000000,1335350,800000,19990);
INSERT INTO sample VALUES(1,2,14000000,1338382,800000,19931);
INSERT INTO sample VALUES(1,3,30000000,1342396,800000,20057);
INSERT INTO sample VALUES(1,4,62000000,1346744,800000,20001);
INSERT INTO sample VALUES(1,5,122000000,1349745,800000,20130);
INSERT INTO sample VALUES(1,6,242000000,1352631,800000,20363);
INSERT INTO sample VALUES(1,7,362000000,1355000,800000,20456);
INSERT INTO sample VALUES(1,8,482000000,1357058,800000,20469);
INSERT INTO sample VALUES(1,9,600000000,1359065,800000,20470);
INSERT INTO sample VALUES(2,0,0,1330168,800000,19981);
INSERT INTO sample VALUES(2,1,14000000,1335147,800000,19998);
INSERT INTO sample VALUES(2,2,30000000,1338719,800000,20094);
INSERT INTO sample VALUES(2,3,62000000,1343442,800000,20011);
INSERT INTO sample VALUES(2,4,122000000,1346508,800000,20141);
INSERT INTO sample VALUES(2,5,242000000,1349097,800000,20248);
INSERT INTO sample VALUES(2,6,362000000,1351564,800000,20281);
INSERT INTO sample VALUES(2,7,482000000,1353990,800000,20353);
INSERT INTO sample VALUES(2,8,600000000,1356282,800000,20381);
INSERT INTO sample VALUES(3,0,0,1341515,0,20537);
INSERT INTO sample VALUES(3,1,2000000,1340856,0,20475);
INSERT INTO sample VALUES(3,2,6000000,1339296,0,20536);
INSERT INTO sample VALUES(3,3,13688800,1337156,0,20444);
INSERT INTO sample VALUES(3,4,24468048,1334340,0,20442);
INSERT INTO sample VALUES(3,5,35951884,1332620,0,20390);
INSERT INTO sample VALUES(3,6,55979557,1329829,0,20495);
INSERT INTO sample VALUES(3,7,77509834,1328740,0,20457);
INSERT INTO sample VALUES(3,8,120570388,1327148,0,20376);
INSERT INTO sample VALUES(3,9,300000000,1326635,0,20261);
INSERT INTO sample VALUES(4,0,0,1340802,0,20384);
INSERT INTO sample VALUES(4,1,2000000,1340067,0,20565);
INSERT INTO sample VALUES(4,2,6000000,1338499,0,20443);
INSERT INTO sample VALUES(4,3,13657771,1336520,0,20474);
INSERT INTO sample VALUES(4,4,25265198,1333922,0,20448);
INSERT INTO sample VALUES(4,5,38665501,1331769,0,20494);
INSERT INTO sample VALUES(4,6,57338752,1329673,0,20374);
INSERT INTO sample VALUES(4,7,84073249,1328115,0,20312);
INSERT INTO sample VALUES(4,8,135551685,1327007,0,20388);
INSERT INTO sample VALUES(4,9,300000000,1326154,0,20183);
INSERT INTO sample VALUES(5,0,0,1317575,-400000,20232);
INSERT INTO sample VALUES(5,1,1000000,1317435,-400000,20199);
INSERT INTO sample VALUES(5,2,2000000,1317263,-400000,20206);
INSERT INTO sample VALUES(5,3,3000000,1317001,-400000,20168);
INSERT INTO sample VALUES(5,4,4000000,1316699,-400000,20296);
INSERT INTO sample VALUES(5,5,5000000,1316570,-400000,20170);
INSERT INTO sample VALUES(5,6,6000000,1316694,-400000,20235);
INSERT INTO sample VALUES(5,7,7000000,1316203,-400000,20196);
INSERT INTO sample VALUES(5,8,8000000,1316059,-400000,20180);
INSERT INTO sample VALUES(5,9,9000000,1315974,-400000,20249);
INSERT INTO sample VALUES(5,10,10000000,1315797,-400000,20148);
INSERT INTO sample VALUES(5,11,10000000,1235350,-4000000,20300);
INSERT INTO sample VALUES(5,12,11000000,1233605,-4000000,20131);
INSERT INTO sample VALUES(5,13,12000000,1231415,-4000000,20261);
INSERT INTO sample VALUES(5,14,13000000,1230074,-4000000,20216);
INSERT INTO sample VALUES(6,0,0,1318685,-400000,20210);
INSERT INTO sample VALUES(6,1,1000000,1318602,-400000,20137);
INSERT INTO sample VALUES(6,2,2000000,1318327,-400000,20146);
INSERT INTO sample VALUES(6,3,3000000,1317983,-400000,20206);
INSERT INTO sample VALUES(6,4,4000000,1317641,-400000,20249);
INSERT INTO sample VALUES(6,5,5000000,1317594,-400000,20210);
INSERT INTO sample VALUES(6,6,6000000,1317668,-400000,20100);
INSERT INTO sample VALUES(6,7,7000000,1317446,-400000,20251);
INSERT INTO sample VALUES(6,8,8000000,1317451,-400000,20176);
INSERT INTO sample VALUES(6,9,9000000,1317167,-400000,20207);
INSERT INTO sample VALUES(6,10,10000000,1316617,-400000,20169);
INSERT INTO sample VALUES(6,11,10000000,1247811,-4000000,20201);
INSERT INTO sample VALUES(6,12,11000000,1246026,-4000000,20209);
INSERT INTO sample VALUES(6,13,12000000,1244089,-4000000,20242);
INSERT INTO sample VALUES(6,14,13000000,1242094,-4000000,20202);
INSERT INTO sample VALUES(7,0,0,1301668,-768245,20249);
INSERT INTO sample VALUES(7,1,30000000,1297148,-770928,20263);
INSERT INTO sample VALUES(7,2,122000000,1292566,-773781,20171);
INSERT INTO sample VALUES(7,3,179982669,1291069,-774576,20174);
INSERT INTO sample VALUES(9,0,0,1302485,-260497,20140);
INSERT INTO sample VALUES(9,1,24000000,1306837,-261361,20331);
INSERT INTO sample VALUES(9,2,64000000,1309882,-261972,20281);
INSERT INTO sample VALUES(9,3,74000000,1309814,-262042,20280);
INSERT INTO sample VALUES(11,0,0,1315926,0,20213);
INSERT INTO sample VALUES(12,0,0,1316020,0,20210);
INSERT INTO sample VALUES(15,0,0,1366580,2000000,19875);
INSERT INTO sample VALUES(15,1,2000000,1368139,2000000,20007);
INSERT INTO sample VALUES(15,2,6000000,1372001,2000000,20013);
INSERT INTO sample VALUES(15,3,14000000,1379003,2000000,20123);
INSERT INTO sample VALUES(15,4,24800000,1385541,2000000,20109);
INSERT INTO sample VALUES(15,5,35600000,1391016,2000000,20089);
INSERT INTO sample VALUES(15,6,46400000,1394992,2000000,20181);
INSERT INTO sample VALUES(15,7,57200000,1398238,2000000,20336);
INSERT INTO sample VALUES(15,8,78800000,1402725,2000000,20444);
INSERT INTO sample VALUES(15,9,100400000,1406137,2000000,20543);
INSERT INTO sample VALUES(15,10,143600000,1409758,2000000,20856);
INSERT INTO sample VALUES(15,11,197600000,1413206,2000000,21129);
INSERT INTO sample VALUES(15,12,273200000,1416362,2000000,21595);
INSERT INTO sample VALUES(15,13,305600000,1419632,2000000,21855);
INSERT INTO sample VALUES(15,14,327200000,1422641,2000000,22023);
INSERT INTO sample VALUES(15,15,359600000,1426397,2000000,22356);
INSERT INTO sample VALUES(15,16,392000000,1430295,2000000,22582);
INSERT INTO sample VALUES(15,17,424400000,1434096,2000000,23044);
INSERT INTO sample VALUES(15,18,456800000,1437921,2000000,23323);
INSERT INTO sample VALUES(15,19,489200000,1441264,2000000,23777);
INSERT INTO sample VALUES(15,20,521600000,1445125,2000000,24162);
INSERT INTO sample VALUES(15,21,554000000,1447654,2000000,24728);
INSERT INTO sample VALUES(15,22,586400000,1450330,2000000,25349);
INSERT INTO sample VALUES(15,23,618800000,1452672,2000000,25927);
INSERT INTO sample VALUES(15,24,651200000,1454865,2000000,26549);
INSERT INTO sample VALUES(15,25,683600000,1456620,2000000,27244);
INSERT INTO sample VALUES(15,26,716000000,1458389,2000000,27832);
INSERT INTO sample VALUES(15,27,748400000,1459422,2000000,28623);
INSERT INTO sample VALUES(15,28,770000000,1460586,2000000,29134);
INSERT INTO sample VALUES(15,29,802400000,1461423,2000000,29801);
INSERT INTO sample VALUES(15,30,824000000,1461335,2000000,30335);
INSERT INTO sample VALUES(15,31,845600000,1461581,2000000,30890);
INSERT INTO sample VALUES(15,32,867200000,1461791,2000000,31488);
INSERT INTO sample VALUES(15,33,899600000,1462150,2000000,32311);
INSERT INTO sample VALUES(15,34,921200000,1461980,2000000,32814);
INSERT INTO sample VALUES(15,35,953600000,1461639,2000000,33504);
INSERT INTO sample VALUES(15,36,975200000,1460776,2000000,34080);
INSERT INTO sample VALUES(15,37,996800000,1459674,2000000,34672);
INSERT INTO sample VALUES(15,38,1018400000,1459212,2000000,35249);
INSERT INTO sample VALUES(15,39,1040000000,1458253,2000000,35836);
INSERT INTO sample VALUES(15,40,1061600000,1457967,2000000,36343);
INSERT INTO sample VALUES(15,41,1083200000,1456991,2000000,36843);
INSERT INTO sample VALUES(15,42,1104800000,1456119,2000000,37524);
INSERT INTO sample VALUES(15,43,1115600000,1455700,2000000,37656);
INSERT INTO sample VALUES(17,0,0,1429006,1000000,37251);
INSERT INTO sample VALUES(17,1,6000000,1426995,1000000,37354);
INSERT INTO sample VALUES(17,2,14000000,1423732,1000000,37234);
INSERT INTO sample VALUES(17,3,30000000,1420433,1000000,36993);
INSERT INTO sample VALUES(17,4,62000000,1416009,1000000,36585);
INSERT INTO sample VALUES(17,5,122000000,1414228,1000000,35908);
INSERT INTO sample VALUES(17,6,182000000,1414044,1000000,35372);
INSERT INTO sample VALUES(17,7,302000000,1414814,1000000,34834);
INSERT INTO sample VALUES(17,8,360000000,1414875,1000000,34614);
INSERT INTO sample VALUES(18,0,0,1425044,1000000,37138);
INSERT INTO sample VALUES(18,1,30000000,1420858,1000000,36760);
INSERT INTO sample VALUES(18,2,62000000,1418324,1000000,36208);
INSERT INTO sample VALUES(18,3,182000000,1418265,1000000,35442);
INSERT INTO sample VALUES(18,4,242000000,1418546,1000000,34936);
INSERT INTO sample VALUES(18,5,360000000,1418802,1000000,34617);
INSERT INTO sample VALUES(19,0,0,1376218,-1000000,34586);
INSERT INTO sample VALUES(19,1,6000000,1372233,-1000000,34354);
INSERT INTO sample VALUES(19,2,14000000,1367098,-1000000,33935);
INSERT INTO sample VALUES(19,3,29577355,1360269,-1000000,33367);
INSERT INTO sample VALUES(19,4,52387438,1355244,-1000000,32550);
INSERT INTO sample VALUES(19,5,97783060,1351222,-1000000,31078);
INSERT INTO sample VALUES(19,6,157783060,1352395,-1000000,29259);
INSERT INTO sample VALUES(19,7,217783060,1353980,-1000000,27833);
INSERT INTO sample VALUES(19,8,277783060,1353648,-1000000,26658);
INSERT INTO sample VALUES(19,9,300000000,1353153,-1000000,26248);
INSERT INTO sample VALUES(20,0,0,1374306,-1000000,34613);
INSERT INTO sample VALUES(20,1,2000000,1372247,-1000000,34459);
INSERT INTO sample VALUES(20,2,6000000,1369140,-1000000,34318);
INSERT INTO sample VALUES(20,3,14000000,1363874,-1000000,34108);
INSERT INTO sample VALUES(20,4,29192059,1356808,-1000000,33426);
INSERT INTO sample VALUES(20,5,50692143,1351210,-1000000,32518);
INSERT INTO sample VALUES(20,6,89096307,1347460,-1000000,31331);
INSERT INTO sample VALUES(20,7,149096307,1348002,-1000000,29471);
INSERT INTO sample VALUES(20,8,209096307,1349526,-1000000,28046);
INSERT INTO sample VALUES(20,9,269096307,1349838,-1000000,26840);
INSERT INTO sample VALUES(20,10,300000000,1349111,-1000000,26291);
INSERT INTO sample VALUES(21,0,0,1417111,1000000,20011);
INSERT INTO sample VALUES(21,1,6000000,1419715,1000000,20097);
INSERT INTO sample VALUES(21,2,14000000,1423173,1000000,20332);
INSERT INTO sample VALUES(21,3,30000000,1427231,1000000,20748);
INSERT INTO sample VALUES(21,4,62000000,1432855,1000000,21632);
INSERT INTO sample VALUES(21,5,118895421,1436140,1000000,22749);
INSERT INTO sample VALUES(21,6,178895421,1436154,1000000,23966);
INSERT INTO sample VALUES(21,7,238895421,1434841,1000000,25059);
INSERT INTO sample VALUES(21,8,298895421,1433770,1000000,26100);
INSERT INTO sample VALUES(21,9,358895421,1432027,1000000,26909);
INSERT INTO sample VALUES(21,10,360000000,1432051,1000000,26958);
INSERT INTO sample VALUES(22,0,0,1393525,-1000000,26942);
INSERT INTO sample VALUES(22,1,2000000,1392209,-1000000,26878);
INSERT INTO sample VALUES(22,2,6000000,1388437,-1000000,26837);
INSERT INTO sample VALUES(22,3,14000000,1383430,-1000000,26611);
INSERT INTO sample VALUES(22,4,29977724,1375312,-1000000,26286);
INSERT INTO sample VALUES(22,5,49661208,1369058,-1000000,26003);
INSERT INTO sample VALUES(22,6,81130770,1363116,-1000000,25544);
INSERT INTO sample VALUES(22,7,134100707,1358404,-1000000,24786);
INSERT INTO sample VALUES(22,8,194100707,1354444,-1000000,24061);
INSERT INTO sample VALUES(22,9,254100707,1351383,-1000000,23404);
INSERT INTO sample VALUES(22,10,300000000,1348393,-1000000,23051);
CREATE TABLE recent ( -- as `sample`, in order of arrival
    row         INTEGER PRIMARY KEY,
    step        INTEGER NOT NULL,
    k           INTEGER NOT NULL,
    microsecond INTEGER NOT NULL,
    microvolt   INTEGER NOT NULL,
    microampere INTEGER NOT NULL,
    millidegree INTEGER
) STRICT;
CREATE TABLE gap ( -- a stretch of a step that nobody observed
    step    INTEGER NOT NULL REFERENCES step (id),
    from_at INTEGER NOT NULL,
    to_at   INTEGER NOT NULL,
    why     TEXT NOT NULL,
    PRIMARY KEY (step, from_at, to_at)
) STRICT, WITHOUT ROWID;
CREATE TABLE result ( -- a named value that a run put on record
    run         INTEGER NOT NULL,
    segment     INTEGER NOT NULL,
    n           INTEGER NOT NULL,    -- the journal entry that recorded it
    cell        INTEGER REFERENCES cell (id),
    step        INTEGER REFERENCES step (id), -- the last step before it
    name        TEXT NOT NULL,       -- 'capacity'
    value       REAL NOT NULL,       -- in `unit`
    unit        TEXT NOT NULL,       -- 'Ah'
    uncertainty REAL,                -- standard uncertainty, same unit
    how         TEXT NOT NULL,       -- how it was obtained: 'simulated'
    flags       TEXT NOT NULL DEFAULT '', -- '', 'gap'
    at          INTEGER NOT NULL,
    PRIMARY KEY (run, segment, n),
    FOREIGN KEY (run, segment, n) REFERENCES journal DEFERRABLE INITIALLY DEFERRED
) STRICT, WITHOUT ROWID;
INSERT INTO result VALUES(1,1,1,1,1,'drawn',356.0,'',NULL,'simulated','',1772410200000000);
INSERT INTO result VALUES(1,1,4,1,5,'resistance',0.023812010310465966944,'ohm',0.0010000000000000000208,'simulated','',1772410513000000);
INSERT INTO result VALUES(1,1,6,1,7,'capacity',0.038627706614342519064,'Ah',NULL,'simulated','',1772410693978862);
INSERT INTO result VALUES(2,1,1,2,2,'drawn',82.0,'',NULL,'simulated','',1772410200000000);
INSERT INTO result VALUES(2,1,4,2,6,'resistance',0.020700899930963616996,'ohm',0.0010000000000000000208,'simulated','',1772410513000000);
INSERT INTO result VALUES(4,0,3,2,19,'out',0.083333333333333328707,'Ah',NULL,'simulated','',1773016186400000);
INSERT INTO result VALUES(5,0,3,1,20,'out',0.083333333333333328707,'Ah',NULL,'simulated','',1773016186400000);
INSERT INTO result VALUES(6,0,3,2,22,'out',0.083333333333333328707,'Ah',NULL,'simulated','',1773275746400000);
CREATE TABLE event ( -- what happened to a run or to the engine, in words
    id    INTEGER PRIMARY KEY,
    at    INTEGER NOT NULL,
    run   INTEGER REFERENCES run (id),
    step  INTEGER REFERENCES step (id),
    level TEXT NOT NULL CHECK (level IN ('info', 'note', 'warning', 'error')),
    text  TEXT NOT NULL
) STRICT;
INSERT INTO event VALUES(1,1772409600000000,1,NULL,'info','started on channel S1');
INSERT INTO event VALUES(2,1772409600000000,2,NULL,'info','started on channel S2');
INSERT INTO event VALUES(3,1772410200000000,1,NULL,'note','first lap, begun at 1772410200.0');
INSERT INTO event VALUES(4,1772410200000000,2,NULL,'note','first lap, begun at 1772410200.0');
INSERT INTO event VALUES(5,1772410767978862,1,NULL,'note','voltage true');
INSERT INTO event VALUES(6,1772410767978862,1,NULL,'note','temperature true');
INSERT INTO event VALUES(9,1773015515600000,1,NULL,'info','done');
INSERT INTO event VALUES(11,1773015526400000,3,NULL,'info','study started');
INSERT INTO event VALUES(12,1773015526400000,4,NULL,'info','started on channel S1');
INSERT INTO event VALUES(13,1773015526400000,5,NULL,'info','started on channel S2');
INSERT INTO event VALUES(14,1773016186400000,5,NULL,'info','done');
INSERT INTO event VALUES(15,1773016186400000,4,NULL,'info','done');
INSERT INTO event VALUES(16,1773275086400000,6,NULL,'info','started on channel S1');
INSERT INTO event VALUES(17,1773275746400000,6,NULL,'info','done');
INSERT INTO event VALUES(18,1773275746400000,3,NULL,'info','done');
CREATE TABLE question ( -- something a person was asked to do or to read off
    id       INTEGER PRIMARY KEY,
    run      INTEGER NOT NULL,
    segment  INTEGER NOT NULL,
    n        INTEGER NOT NULL,       -- the journal entry that waits for it
    text     TEXT NOT NULL,
    expects  TEXT NOT NULL,          -- JSON: kind, unit, least, most, choices
    asked_at INTEGER NOT NULL,
    UNIQUE (run, segment, n),
    FOREIGN KEY (run, segment, n) REFERENCES journal DEFERRABLE INITIALLY DEFERRED
) STRICT;
CREATE TABLE answer ( -- what was said; the latest holds, a correction is a new row
    id       INTEGER PRIMARY KEY,
    question INTEGER NOT NULL REFERENCES question (id),
    answer   TEXT NOT NULL,          -- JSON
    who      TEXT NOT NULL,
    at       INTEGER NOT NULL
) STRICT;
CREATE INDEX cell_of_model ON cell (model);
CREATE UNIQUE INDEX run_open_cell ON run (cell) WHERE ended_at IS NULL AND cell IS NOT NULL;
CREATE INDEX run_of_cell ON run (cell);
CREATE INDEX run_open ON run (queued_at) WHERE ended_at IS NULL;
CREATE INDEX run_of_parent ON run (parent) WHERE parent IS NOT NULL;
CREATE INDEX step_of_journal ON step (run, segment, n);
CREATE INDEX step_of_cell ON step (cell);
CREATE INDEX placement_of_cell ON placement (cell);
CREATE INDEX result_of_cell ON result (cell, name);
CREATE INDEX event_of_run ON event (run);
CREATE INDEX answer_to ON answer (question);
CREATE VIEW reading AS -- every sample once, in V, A, degC
SELECT sample.step, k,
       strftime('%Y-%m-%dT%H:%M:%fZ', (started_at + microsecond) / 1e6, 'unixepoch') AS at,
       microsecond / 1e6 AS seconds, -- since the step's start
       microvolt / 1e6 AS V, microampere / 1e6 AS A, millidegree / 1e3 AS degC
  FROM sample JOIN step ON step.id = sample.step
UNION ALL
SELECT recent.step, k,
       strftime('%Y-%m-%dT%H:%M:%fZ', (started_at + microsecond) / 1e6, 'unixepoch'),
       microsecond / 1e6, microvolt / 1e6, microampere / 1e6, millidegree / 1e3
  FROM recent JOIN step ON step.id = recent.step
 WHERE NOT EXISTS (SELECT 1 FROM sample WHERE sample.step = recent.step AND sample.k = recent.k)
;
CREATE VIEW cells AS
SELECT label, name AS model, maker, size, chemistry, rated_charge / 3600 AS rated_Ah,
       strftime('%Y-%m-%dT%H:%M:%SZ', enrolled_at / 1000000, 'unixepoch') AS enrolled,
       (SELECT count(*) FROM run WHERE run.cell = cell.id) AS runs,
       (SELECT id FROM run WHERE run.cell = cell.id AND ended_at IS NULL) AS open_run
  FROM cell JOIN model ON model.id = cell.model;
CREATE VIEW runs AS
SELECT run.id AS run, kind, script_name AS script, label AS cell, channel, state, params,
       strftime('%Y-%m-%dT%H:%M:%SZ', queued_at / 1000000, 'unixepoch') AS queued,
       strftime('%Y-%m-%dT%H:%M:%SZ', started_at / 1000000, 'unixepoch') AS started,
       strftime('%Y-%m-%dT%H:%M:%SZ', ended_at / 1000000, 'unixepoch') AS ended,
       why
  FROM run LEFT JOIN cell ON cell.id = run.cell;
CREATE VIEW outcomes AS
SELECT step.id AS step, run, segment, n, label AS cell, channel, kind, how,
       strftime('%Y-%m-%dT%H:%M:%SZ', started_at / 1000000, 'unixepoch') AS started,
       strftime('%Y-%m-%dT%H:%M:%SZ', ended_at / 1000000, 'unixepoch') AS ended,
       charge / 3600 AS charge_Ah, energy / 3600 AS energy_Wh, duration / 3600 AS duration_h,
       first_voltage AS first_voltage_V, last_voltage AS last_voltage_V,
       mean_voltage AS mean_voltage_V, mid_voltage AS mid_voltage_V,
       peak_voltage AS peak_voltage_V, max_temperature AS max_temperature_degC,
       resistance AS resistance_ohm, gaps, gap_time AS gap_time_s, ended_by, quality, samples
  FROM step LEFT JOIN outcome ON outcome.step = step.id LEFT JOIN cell ON cell.id = step.cell;
CREATE VIEW results AS
SELECT label AS cell, model.name AS model, result.name, value, unit, uncertainty,
       CASE unit WHEN 'Ah' THEN 100 * value * 3600 / rated_charge END AS percent_of_rating, how, flags,
       result.run, result.step,
       strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000000, 'unixepoch') AS recorded
  FROM result LEFT JOIN cell ON cell.id = result.cell LEFT JOIN model ON model.id = cell.model;
CREATE VIEW questions AS
SELECT question.id AS question, question.run, question.text, expects,
       strftime('%Y-%m-%dT%H:%M:%SZ', asked_at / 1000000, 'unixepoch') AS asked,
       answer, who, strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000000, 'unixepoch') AS answered
  FROM question
  LEFT JOIN answer ON answer.id = (SELECT max(id) FROM answer WHERE question = question.id);
COMMIT;
PRAGMA user_version = 1;
