-- What players agreed to, and when it ended: one line for each event, kept when what was sent is
-- erased. It names the wording and the SHA-256 of its words, which stand in the protocol of that
-- version, and says nothing of the sessions. The hash of what was agreed to before hashes were kept
-- is filled in by the service, NULL until then.
CREATE TABLE consent (
    id               INTEGER PRIMARY KEY,
    contribution_id  INTEGER NOT NULL REFERENCES contribution (id),
    event            TEXT    NOT NULL CHECK (event IN ('given', 'changed', 'ended')),
    at_ms            INTEGER NOT NULL,
    scope            TEXT    CHECK (scope IN ('pooling', 'pooling_and_rows')),
    text_version     TEXT,
    text_sha256      BLOB    CHECK (length(text_sha256) = 32),
    protocol_version INTEGER,
    CHECK ((event = 'ended') = (scope IS NULL)),
    CHECK ((event = 'ended') = (text_version IS NULL)),
    CHECK ((event = 'ended') = (protocol_version IS NULL)),
    CHECK (event <> 'ended' OR text_sha256 IS NULL)
) STRICT;
CREATE INDEX consent_by_contribution ON consent (contribution_id, id);

-- A version agrees anew. It is an event where it agrees to something else than the one before.
INSERT INTO consent (contribution_id, event, at_ms, scope, text_version, protocol_version)
SELECT contribution_id, event, at_ms, scope, text_version, protocol_version FROM (
    SELECT v.contribution_id, iif(v.number = 1, 'given', 'changed') AS event,
           v.received_at_ms AS at_ms, v.consent_scope AS scope,
           v.consent_text_version AS text_version, v.protocol_version, v.number
      FROM version v
      LEFT JOIN version before ON before.contribution_id = v.contribution_id
                              AND before.number = v.number - 1
     WHERE before.number IS NULL
        OR before.consent_scope <> v.consent_scope
        OR before.consent_text_version <> v.consent_text_version
    UNION ALL
    SELECT id, 'ended', withdrawn_at_ms, NULL, NULL, NULL, NULL
      FROM contribution WHERE withdrawn_at_ms IS NOT NULL
) ORDER BY at_ms, contribution_id, number IS NULL, number;

CREATE TRIGGER consent_is_never_changed BEFORE UPDATE ON consent
WHEN OLD.text_sha256 IS NOT NULL OR OLD.event = 'ended'
  OR NEW.id <> OLD.id OR NEW.contribution_id <> OLD.contribution_id OR NEW.event <> OLD.event
  OR NEW.at_ms <> OLD.at_ms OR NEW.scope <> OLD.scope OR NEW.text_version <> OLD.text_version
  OR NEW.protocol_version <> OLD.protocol_version
BEGIN
    SELECT RAISE(ABORT, 'what was agreed to is never changed');
END;

CREATE TRIGGER consent_is_never_deleted BEFORE DELETE ON consent
BEGIN
    SELECT RAISE(ABORT, 'what was agreed to is never deleted');
END;

-- What was withdrawn is erased: neither the host's words about it nor the hash of the request that
-- sent it outlive the document. The hash becomes zeroes, so that the key still is known.
CREATE TRIGGER words_and_hashes_are_erased_with_the_document
AFTER UPDATE OF document ON version WHEN NEW.document IS NULL
BEGIN
    UPDATE decision SET note = '' WHERE contribution_id = NEW.contribution_id;
    UPDATE idempotency SET request_hash = zeroblob(32)
     WHERE contribution_id = NEW.contribution_id;
    INSERT INTO fact (name, value) VALUES ('rewrite_due', x'01') ON CONFLICT DO NOTHING;
END;
UPDATE decision SET note = '' WHERE contribution_id IN
    (SELECT contribution_id FROM version WHERE document IS NULL);
UPDATE idempotency SET request_hash = zeroblob(32) WHERE contribution_id IN
    (SELECT contribution_id FROM version WHERE document IS NULL);

-- That the file has to be written anew, because pages that were divided or merged may keep copies of
-- what was erased in bytes that nobody uses.
INSERT INTO fact (name, value) VALUES ('rewrite_due', x'01');
