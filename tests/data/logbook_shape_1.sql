-- A logbook as the first version that had one wrote it: tables, rows, and how SQLite marks the file.
PRAGMA application_id = 1952541036;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE archers (
        id TEXT PRIMARY KEY, name TEXT NOT NULL, hand TEXT CHECK (hand IN ('right', 'left')),
        notes TEXT NOT NULL, made_at TEXT NOT NULL, deleted_at TEXT
    ) STRICT;
INSERT INTO "archers" VALUES('98032149634046cf868f971ea69496e7','Ünal-7','left','indoor season','2026-11-25T13:59:12.596+00:00',NULL);
INSERT INTO "archers" VALUES('fb2434455d9a48ed9c4386fec5ccf6ab','Göran ''G''; x',NULL,'line one
line two','2026-11-25T13:59:12.876+00:00','2026-11-25T13:59:12.944+00:00');
CREATE TABLE clips (
        sha256 TEXT PRIMARY KEY, name TEXT NOT NULL, file TEXT NOT NULL,
        bytes INTEGER NOT NULL, made_at TEXT NOT NULL
    ) STRICT;
INSERT INTO "clips" VALUES('8a64f13e21fc02167aff084bc90749140c0f3644f45546056a5616ee89563714','film.mp4','8a64f13e21fc02167aff084bc90749140c0f3644f45546056a5616ee89563714.mp4',2050,'2026-11-25T13:59:12.648+00:00');
CREATE TABLE decisions (
        id TEXT PRIMARY KEY, version_id TEXT NOT NULL REFERENCES versions (id),
        to_version_id TEXT REFERENCES versions (id), dated TEXT NOT NULL, cure TEXT NOT NULL,
        amount REAL, is_test INTEGER NOT NULL CHECK (is_test IN (0, 1)),
        outcome TEXT CHECK (outcome IN ('better', 'same', 'worse')),
        proposal_json TEXT NOT NULL, note TEXT NOT NULL, made_at TEXT NOT NULL, deleted_at TEXT
    ) STRICT;
INSERT INTO "decisions" VALUES('d3ef4fd050b448f4a76407c9e36fc28d','8b5e2762e8b54949be7f2960d0266b63','6adc0a7d3848478c8ad2287051f2c410','2026-01-12','lower_nocking',0.0008,0,'better','{"change": "Lower"}','','2026-11-25T13:59:12.744+00:00',NULL);
CREATE TABLE deletions (
        id TEXT PRIMARY KEY, of_table TEXT NOT NULL, of_id TEXT NOT NULL,
        made_at TEXT NOT NULL, undone_at TEXT
    ) STRICT;
INSERT INTO "deletions" VALUES('61b6ebb8f64b4fe88052e35878ee16e6','evidence','fd57a0ffbe0e475188580b3bed8a1721','2026-11-25T13:59:12.856+00:00',NULL);
INSERT INTO "deletions" VALUES('13b9de0414ff4ed38f1ff71ab1cbc174','archers','fb2434455d9a48ed9c4386fec5ccf6ab','2026-11-25T13:59:12.900+00:00','2026-11-25T13:59:12.924+00:00');
INSERT INTO "deletions" VALUES('162a4094bb9f416ea040f521134cc6f4','archers','fb2434455d9a48ed9c4386fec5ccf6ab','2026-11-25T13:59:12.944+00:00',NULL);
CREATE TABLE evidence (
        id TEXT PRIMARY KEY, version_id TEXT NOT NULL REFERENCES versions (id),
        kind TEXT NOT NULL CHECK (kind IN ('flight', 'bare shaft', 'powder', 'groups', 'eye')),
        dated TEXT NOT NULL, payload_json TEXT NOT NULL, note TEXT NOT NULL,
        clip_sha256 TEXT REFERENCES clips (sha256), made_at TEXT NOT NULL, deleted_at TEXT
    ) STRICT;
INSERT INTO "evidence" VALUES('006488c9ceac405c9fa0be5cd4d404c5','8b5e2762e8b54949be7f2960d0266b63','flight','2026-01-10','{"reading": {"label": "fishtailing", "presence": {"fishtailing": 0.97, "minnowing": 0.02, "porpoising": 0.04}, "refused": null, "across": [{"kind": "yaw", "swing_mm": 8.0, "swing_sigma_mm": 0.6}], "up_down": [], "clean_below_mm": null}, "arrow": "1"}','','8a64f13e21fc02167aff084bc90749140c0f3644f45546056a5616ee89563714','2026-11-25T13:59:12.672+00:00',NULL);
INSERT INTO "evidence" VALUES('b70d143c73be4d8faa101102ceecfd71','8b5e2762e8b54949be7f2960d0266b63','powder','2026-01-10','{"marks": []}','',NULL,'2026-11-25T13:59:12.700+00:00',NULL);
INSERT INTO "evidence" VALUES('8dee51922a0d4a2e81267cdc47a46a99','6adc0a7d3848478c8ad2287051f2c410','bare shaft','2026-01-12','{"distance_m": 20.0, "bare_m": [[0.05, 0.01], [0.06, -0.01], [0.055, 0.0]], "fletched_m": [[0.01, 0.01], [-0.01, -0.01], [0.0, 0.012], [0.012, -0.008], [-0.01, 0.0]], "crosswind_m_s": null}','evening, indoors',NULL,'2026-11-25T13:59:12.764+00:00',NULL);
INSERT INTO "evidence" VALUES('dc3c9bf37167480c983ba6c09ca5ae48','6adc0a7d3848478c8ad2287051f2c410','eye','2026-01-13','{"seen": [], "groups_judged": "good"}','=1+1, '';--',NULL,'2026-11-25T13:59:12.821+00:00',NULL);
INSERT INTO "evidence" VALUES('fd57a0ffbe0e475188580b3bed8a1721','6adc0a7d3848478c8ad2287051f2c410','powder','2026-01-13','{"marks": [["vane", "rest"]]}','',NULL,'2026-11-25T13:59:12.844+00:00','2026-11-25T13:59:12.856+00:00');
CREATE TABLE history (
        id TEXT PRIMARY KEY, of_table TEXT NOT NULL, of_id TEXT NOT NULL,
        reason TEXT NOT NULL, before_json TEXT NOT NULL, made_at TEXT NOT NULL
    ) STRICT;
INSERT INTO "history" VALUES('4d080a8b05bc426db2319ca5277bb4a1','evidence','8dee51922a0d4a2e81267cdc47a46a99','tape measure','{"id": "8dee51922a0d4a2e81267cdc47a46a99", "version_id": "6adc0a7d3848478c8ad2287051f2c410", "kind": "bare shaft", "dated": "2026-01-12", "payload_json": "{\"distance_m\": 18.0, \"bare_m\": [[0.05, 0.01], [0.06, -0.01], [0.055, 0.0]], \"fletched_m\": [[0.01, 0.01], [-0.01, -0.01], [0.0, 0.012], [0.012, -0.008], [-0.01, 0.0]], \"crosswind_m_s\": null}", "note": "evening, indoors", "clip_sha256": null, "made_at": "2026-11-25T13:59:12.764+00:00", "deleted_at": null}','2026-11-25T13:59:12.789+00:00');
CREATE TABLE setups (
        id TEXT PRIMARY KEY, archer_id TEXT NOT NULL REFERENCES archers (id),
        name TEXT NOT NULL, made_at TEXT NOT NULL, deleted_at TEXT
    ) STRICT;
INSERT INTO "setups" VALUES('d93882229d8747e09dccd3c53423c815','98032149634046cf868f971ea69496e7','blue bow','2026-11-25T13:59:12.618+00:00',NULL);
CREATE TABLE versions (
        id TEXT PRIMARY KEY, setup_id TEXT NOT NULL REFERENCES setups (id),
        number INTEGER NOT NULL, dated TEXT NOT NULL, reason TEXT NOT NULL,
        typed_json TEXT NOT NULL, made_at TEXT NOT NULL, UNIQUE (setup_id, number)
    ) STRICT;
INSERT INTO "versions" VALUES('8b5e2762e8b54949be7f2960d0266b63','d93882229d8747e09dccd3c53423c815',1,'2026-01-10','as bought','{"bow_length": "68 in", "brace_height": "8 3/4 in", "draw_weight": "34 lb", "nocking_point": "12 mm"}','2026-11-25T13:59:12.619+00:00');
INSERT INTO "versions" VALUES('6adc0a7d3848478c8ad2287051f2c410','d93882229d8747e09dccd3c53423c815',2,'2026-01-12','bare shafts low','{"bow_length": "68 in", "brace_height": "8 3/4 in", "draw_weight": "34 lb", "nocking_point": "11.2 mm"}','2026-11-25T13:59:12.724+00:00');
CREATE INDEX setups_of_archer ON setups (archer_id);
CREATE INDEX evidence_of_version ON evidence (version_id);
CREATE INDEX decisions_of_version ON decisions (version_id);
CREATE INDEX history_of_row ON history (of_table, of_id);
COMMIT;
