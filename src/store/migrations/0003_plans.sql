-- An order of play drawn by lot. Whoever has the code can open it; it is sealed until then.
-- position counts the plans of one kind in one study from 0. key_hash is that of the request that
-- drew it, so that a retried request finds the same plan.
CREATE TABLE plan (
    id           INTEGER PRIMARY KEY,
    study_id     INTEGER NOT NULL REFERENCES study (id),
    code         TEXT    NOT NULL UNIQUE CHECK (length(code) = 12),
    kind         TEXT    NOT NULL CHECK (kind IN ('two_sessions', 'four_sessions')),
    position     INTEGER NOT NULL CHECK (0 <= position),
    sequence     TEXT    NOT NULL CHECK (sequence IN ('looser_tighter', 'tighter_looser',
                     'looser_tighter_tighter_looser', 'tighter_looser_looser_tighter')),
    key_hash     BLOB    CHECK (length(key_hash) = 32),
    drawn_at_ms  INTEGER NOT NULL,
    opened_at_ms INTEGER,
    UNIQUE (study_id, kind, position),
    UNIQUE (study_id, key_hash)
) STRICT;

-- Finds what was sent under a plan.
CREATE INDEX version_by_plan ON version (study_id, plan_code) WHERE plan_code IS NOT NULL;
