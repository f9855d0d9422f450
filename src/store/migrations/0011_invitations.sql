-- Studies that only take contributions of new players who bring an invitation.
CREATE TABLE by_invitation (
    study_id INTEGER PRIMARY KEY REFERENCES study (id)
) STRICT;

-- Invitations. Of a code nothing is kept but a keyed hash; of its use nothing but how often, so that
-- no contribution can be traced to the invitation it came with.
CREATE TABLE invitation (
    study_id    INTEGER NOT NULL REFERENCES study (id),
    number      INTEGER NOT NULL CHECK (0 < number),
    code_hash   BLOB    NOT NULL UNIQUE CHECK (length(code_hash) = 32),
    made_at_ms  INTEGER NOT NULL,
    most_uses   INTEGER NOT NULL CHECK (0 < most_uses),
    uses        INTEGER NOT NULL DEFAULT 0 CHECK (uses BETWEEN 0 AND most_uses),
    ended_at_ms INTEGER,
    PRIMARY KEY (study_id, number)
) STRICT, WITHOUT ROWID;
