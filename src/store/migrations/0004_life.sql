-- Every version of a study's document, as the service keeps it. version is the protocol's own
-- number; the first has no reason. made_at_ms is when it came into force, or, in a draft, when it was
-- last changed.
CREATE TABLE protocol (
    study_id   INTEGER NOT NULL REFERENCES study (id),
    version    INTEGER NOT NULL CHECK (0 < version),
    document   BLOB    NOT NULL,
    made_at_ms INTEGER NOT NULL,
    reason     TEXT,
    PRIMARY KEY (study_id, version)
) STRICT, WITHOUT ROWID;

-- A study could not be changed before, so its document is its first version, whatever number the
-- host gave it.
INSERT INTO protocol (study_id, version, document, made_at_ms)
SELECT id, coalesce(CAST(json_extract(CAST(document AS TEXT), '$.protocol.version') AS INTEGER), 1),
    document, added_at_ms
FROM study;
ALTER TABLE study DROP COLUMN document;

-- A draft is seen by nobody but the host; recruiting takes contributions; closed takes none any
-- more. plan_hash is the SHA-256 of the analysis plan when recruiting opened; NULL in a draft, and in
-- a study from before until the service fills it in.
ALTER TABLE study ADD COLUMN state TEXT NOT NULL DEFAULT 'draft' CHECK (state IN ('draft', 'recruiting', 'closed'));
ALTER TABLE study ADD COLUMN opened_at_ms INTEGER CHECK ((opened_at_ms IS NULL) = (state = 'draft'));
ALTER TABLE study ADD COLUMN closed_at_ms INTEGER CHECK ((closed_at_ms IS NULL) = (state <> 'closed'));
ALTER TABLE study ADD COLUMN plan_hash BLOB CHECK (length(plan_hash) = 32);
UPDATE study SET state = 'recruiting', opened_at_ms = added_at_ms;

-- The protocol version in force when the batch closed: its figures are made by those rules.
ALTER TABLE batch ADD COLUMN protocol_version INTEGER;
UPDATE batch SET protocol_version = (SELECT max(version) FROM protocol WHERE protocol.study_id = batch.study_id);
