-- What was published of a study for good. document has the canonical bytes, sha256 is their SHA-256;
-- kind, reason and address stand in the document too and are here for the list. Releases are only
-- ever added, one after another: whoever cites one must find it as it was.
CREATE TABLE release (
    study_id   INTEGER NOT NULL REFERENCES study (id),
    number     INTEGER NOT NULL CHECK (0 < number),
    kind       TEXT    NOT NULL CHECK (kind IN ('first', 'update', 'correction')),
    reason     TEXT    CHECK ((reason IS NOT NULL) = (kind = 'correction')),
    address    TEXT    NOT NULL,
    document   BLOB    NOT NULL CHECK (0 < length(document)),
    sha256     BLOB    NOT NULL CHECK (length(sha256) = 32),
    made_at_ms INTEGER NOT NULL,
    PRIMARY KEY (study_id, number)
) STRICT;

CREATE TRIGGER release_follows_the_last BEFORE INSERT ON release
WHEN NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM release WHERE study_id = NEW.study_id)
BEGIN
    SELECT RAISE(ABORT, 'releases are numbered one after another');
END;

CREATE TRIGGER release_is_never_changed BEFORE UPDATE ON release
BEGIN
    SELECT RAISE(ABORT, 'a release is never changed');
END;

CREATE TRIGGER release_is_never_deleted BEFORE DELETE ON release
BEGIN
    SELECT RAISE(ABORT, 'a release is never deleted');
END;
