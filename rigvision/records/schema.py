"""The ledger's tables. What is here was released: it changes only by a further migration.

``entry`` is the record. The other tables are its index: each row is derived from the entry whose
``sequence`` it carries (``index_rows``), so that entries are found without reading them all.
"""

from __future__ import annotations

#: In the file's header: this SQLite file is one of ours ("RIGV").
APPLICATION_ID = 0x52494756

ENTRY = """
CREATE TABLE entry (
    sequence INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    recorded_at TEXT NOT NULL,
    body TEXT NOT NULL,
    previous TEXT NOT NULL,
    hash TEXT NOT NULL,
    signature TEXT NOT NULL
) STRICT;
-- INSERT OR REPLACE takes rows away without asking a DELETE trigger: an entry only ever follows.
CREATE TRIGGER entry_follows BEFORE INSERT ON entry
WHEN NEW.sequence IS NOT (SELECT coalesce(max(sequence), 0) + 1 FROM entry)
BEGIN SELECT RAISE(ABORT, 'an entry can only follow the last one'); END;
"""

INDEX = """
CREATE TABLE person (
    sequence INTEGER PRIMARY KEY,
    person TEXT NOT NULL,
    role TEXT NOT NULL,
    public_key TEXT NOT NULL,
    fingerprint TEXT NOT NULL
) STRICT;
CREATE INDEX person_by_fingerprint ON person (fingerprint);

CREATE TABLE withdrawal (
    sequence INTEGER PRIMARY KEY,
    fingerprint TEXT NOT NULL
) STRICT;
CREATE INDEX withdrawal_by_fingerprint ON withdrawal (fingerprint);

CREATE TABLE job (
    sequence INTEGER PRIMARY KEY,
    job TEXT NOT NULL COLLATE NOCASE UNIQUE,
    work_order TEXT NOT NULL COLLATE NOCASE,
    engine TEXT NOT NULL COLLATE NOCASE,
    frame TEXT NOT NULL COLLATE NOCASE,
    door INTEGER NOT NULL,
    position TEXT NOT NULL,
    opened_at TEXT NOT NULL
) STRICT;
CREATE INDEX job_by_engine ON job (engine, door);
CREATE INDEX job_by_work_order ON job (work_order);

CREATE TABLE job_closed (
    sequence INTEGER PRIMARY KEY,
    job TEXT NOT NULL COLLATE NOCASE UNIQUE,
    closed_at TEXT NOT NULL
) STRICT;

CREATE TABLE check_recorded (
    sequence INTEGER PRIMARY KEY,
    record TEXT NOT NULL UNIQUE,
    job TEXT NOT NULL COLLATE NOCASE,
    stage TEXT,
    gauge TEXT COLLATE NOCASE,
    frame TEXT COLLATE NOCASE,
    door INTEGER,
    verdict TEXT NOT NULL,
    borderline INTEGER NOT NULL,
    recorded_at TEXT NOT NULL,
    taken_at TEXT,
    photo_sha256 TEXT NOT NULL,
    image_sha256 TEXT NOT NULL,
    core_sha256 TEXT NOT NULL,
    result_sha256 TEXT NOT NULL
) STRICT;
CREATE INDEX check_by_job ON check_recorded (job, sequence);
CREATE INDEX check_by_gauge ON check_recorded (gauge, sequence);
CREATE INDEX check_by_frame ON check_recorded (frame, door, sequence);
CREATE INDEX check_by_door ON check_recorded (door, sequence);
CREATE INDEX check_by_verdict ON check_recorded (verdict, borderline, sequence);
CREATE INDEX check_by_time ON check_recorded (recorded_at);
CREATE INDEX check_by_photo ON check_recorded (photo_sha256);

CREATE TABLE signing (
    sequence INTEGER PRIMARY KEY,
    record TEXT NOT NULL,
    decision TEXT NOT NULL,
    person TEXT NOT NULL,
    fingerprint TEXT NOT NULL
) STRICT;
CREATE INDEX signing_by_record ON signing (record, decision);
CREATE INDEX signing_by_decision ON signing (decision, sequence);

CREATE TABLE correction (
    sequence INTEGER PRIMARY KEY,
    record TEXT NOT NULL,
    replaced_by TEXT
) STRICT;
CREATE INDEX correction_by_record ON correction (record);

CREATE TABLE likeness (
    sequence INTEGER PRIMARY KEY,
    record TEXT NOT NULL,
    gauge TEXT NOT NULL,
    way_x REAL NOT NULL,
    way_y REAL NOT NULL,
    way_x_cell INTEGER NOT NULL,
    way_y_cell INTEGER NOT NULL,
    gap_mm REAL,
    taper_mm REAL,
    lateral_mm REAL,
    seat_mm REAL,
    clock_deg REAL,
    gap_cell INTEGER NOT NULL,
    clock_cell INTEGER NOT NULL,
    lateral_cell INTEGER NOT NULL,
    sill_sketch BLOB,
    barrel_sketch BLOB
) STRICT;
CREATE INDEX likeness_by_way ON likeness (
    gauge, way_x_cell, way_y_cell, way_x, way_y, sill_sketch, barrel_sketch
);
CREATE INDEX likeness_by_figures ON likeness (
    gauge, gap_cell, clock_cell, lateral_cell,
    gap_mm, clock_deg, lateral_mm, seat_mm, taper_mm, sill_sketch, barrel_sketch
);

CREATE TABLE mention (
    record TEXT NOT NULL,
    sequence INTEGER NOT NULL,
    PRIMARY KEY (record, sequence)
) STRICT, WITHOUT ROWID;
CREATE INDEX mention_by_sequence ON mention (sequence);

CREATE TABLE file (
    sha256 TEXT NOT NULL,
    sequence INTEGER NOT NULL,
    part TEXT NOT NULL,
    size_bytes INTEGER,
    PRIMARY KEY (sha256, sequence, part)
) STRICT, WITHOUT ROWID;
CREATE INDEX file_by_sequence ON file (sequence);
"""

INDEX_TABLES = (
    "person",
    "withdrawal",
    "job",
    "job_closed",
    "check_recorded",
    "signing",
    "correction",
    "likeness",
    "mention",
    "file",
)


def guards(table: str) -> str:
    """Triggers that refuse every change to what a table holds."""
    return "\n".join(
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table}\n"
        "BEGIN SELECT RAISE(ABORT, 'the ledger is only ever added to'); END;"
        for verb in ("UPDATE", "DELETE")
    )


def index_guards(table: str) -> str:
    """Those, and one that lets rows in for the newest entry alone."""
    return (
        guards(table) + f"\nCREATE TRIGGER {table}_with_its_entry BEFORE INSERT ON {table}\n"
        "WHEN NEW.sequence IS NOT (SELECT max(sequence) FROM entry)\n"
        "BEGIN SELECT RAISE(ABORT, 'the index is written with its entry'); END;"
    )
