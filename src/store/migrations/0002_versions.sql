-- What was sent, every version of it: number 1 came first, each later one mends the one before.
-- batch is the public batch that began to count it. Once it was erased, the document is NULL and the
-- gap 1, which is none.
CREATE TABLE version (
    contribution_id      INTEGER NOT NULL REFERENCES contribution (id),
    number               INTEGER NOT NULL CHECK (0 < number),
    study_id             INTEGER NOT NULL REFERENCES study (id),
    received_at_ms       INTEGER NOT NULL,
    reason               TEXT CHECK ((reason IS NULL) = (number = 1)),
    protocol_version     INTEGER NOT NULL,
    consent_scope        TEXT    NOT NULL CHECK (consent_scope IN ('pooling', 'pooling_and_rows')),
    consent_text_version TEXT    NOT NULL,
    plan_code            TEXT,
    gap_nanograms        INTEGER NOT NULL CHECK (0 < gap_nanograms),
    batch                INTEGER,
    document             BLOB,
    PRIMARY KEY (contribution_id, number)
) STRICT;
CREATE INDEX version_by_batch ON version (study_id, batch);

INSERT INTO version (contribution_id, number, study_id, received_at_ms, protocol_version,
    consent_scope, consent_text_version, plan_code, gap_nanograms, batch, document)
SELECT id, 1, study_id, received_at_ms, protocol_version,
    consent_scope, consent_text_version, plan_code, gap_nanograms, batch, document
FROM contribution;

DROP INDEX contribution_by_study;
ALTER TABLE contribution DROP COLUMN received_at_ms;
ALTER TABLE contribution DROP COLUMN protocol_version;
ALTER TABLE contribution DROP COLUMN consent_scope;
ALTER TABLE contribution DROP COLUMN consent_text_version;
ALTER TABLE contribution DROP COLUMN plan_code;
ALTER TABLE contribution DROP COLUMN gap_nanograms;
ALTER TABLE contribution DROP COLUMN batch;
ALTER TABLE contribution DROP COLUMN document;

-- When its player withdrew it, and the public batch that no longer counts it: 0 when none ever
-- did, NULL while one still does.
ALTER TABLE contribution ADD COLUMN withdrawn_at_ms INTEGER;
ALTER TABLE contribution ADD COLUMN removed INTEGER CHECK (removed IS NULL OR withdrawn_at_ms IS NOT NULL);
CREATE INDEX contribution_by_study ON contribution (study_id, state, removed);

-- 0 when the batch only takes withdrawn sessions out, and figures are hidden until enough players
-- have come or gone.
ALTER TABLE batch ADD COLUMN shown INTEGER NOT NULL DEFAULT 1 CHECK (shown IN (0, 1));
