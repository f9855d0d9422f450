-- A study with the host's document, kept verbatim.
CREATE TABLE study (
    id          INTEGER PRIMARY KEY,
    slug        TEXT    NOT NULL UNIQUE,
    document    BLOB    NOT NULL,
    added_at_ms INTEGER NOT NULL
) STRICT;

-- Whoever holds one receipt. Nothing but the receipt's hash is kept.
CREATE TABLE player (
    id           INTEGER PRIMARY KEY,
    uuid         BLOB    NOT NULL UNIQUE CHECK (length(uuid) = 16),
    study_id     INTEGER NOT NULL REFERENCES study (id),
    receipt_hash BLOB    NOT NULL UNIQUE CHECK (length(receipt_hash) = 32)
) STRICT;

-- One pair of arms, as sent. batch is the public batch that first counted it.
CREATE TABLE contribution (
    id                   INTEGER PRIMARY KEY,
    uuid                 BLOB    NOT NULL UNIQUE CHECK (length(uuid) = 16),
    study_id             INTEGER NOT NULL REFERENCES study (id),
    player_id            INTEGER NOT NULL REFERENCES player (id),
    received_at_ms       INTEGER NOT NULL,
    state                TEXT    NOT NULL CHECK (state IN ('accepted', 'held', 'declined', 'withdrawn')),
    protocol_version     INTEGER NOT NULL,
    consent_scope        TEXT    NOT NULL CHECK (consent_scope IN ('pooling', 'pooling_and_rows')),
    consent_text_version TEXT    NOT NULL,
    plan_code            TEXT,
    gap_nanograms        INTEGER NOT NULL CHECK (0 < gap_nanograms),
    batch                INTEGER,
    document             BLOB    NOT NULL
) STRICT;
CREATE INDEX contribution_by_study ON contribution (study_id, state, batch);
CREATE INDEX contribution_by_player ON contribution (player_id);

-- A retried request finds its first answer here.
CREATE TABLE idempotency (
    study_id        INTEGER NOT NULL REFERENCES study (id),
    key_hash        BLOB    NOT NULL CHECK (length(key_hash) = 32),
    request_hash    BLOB    NOT NULL CHECK (length(request_hash) = 32),
    contribution_id INTEGER NOT NULL REFERENCES contribution (id),
    PRIMARY KEY (study_id, key_hash)
) STRICT, WITHOUT ROWID;

-- A set of contributions that began to count on one day.
CREATE TABLE batch (
    study_id     INTEGER NOT NULL REFERENCES study (id),
    number       INTEGER NOT NULL CHECK (0 < number),
    closed_at_ms INTEGER NOT NULL,
    PRIMARY KEY (study_id, number)
) STRICT, WITHOUT ROWID;

-- Facts about this data folder.
CREATE TABLE fact (
    name  TEXT NOT NULL PRIMARY KEY,
    value BLOB NOT NULL
) STRICT, WITHOUT ROWID;
