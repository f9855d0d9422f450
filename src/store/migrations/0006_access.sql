-- What is kept of the host's credential: one at most. Without one nobody can sign in with any.
CREATE TABLE host_credential (
    id         INTEGER PRIMARY KEY CHECK (id = 1),
    phc        TEXT    NOT NULL CHECK (phc GLOB '$argon2id$*'),
    made_at_ms INTEGER NOT NULL
) STRICT;

-- A browser in which the host is signed in, known by the SHA-256 of what it holds.
CREATE TABLE host_sign_in (
    token_hash BLOB    PRIMARY KEY CHECK (length(token_hash) = 32),
    made_at_ms INTEGER NOT NULL,
    seen_at_ms INTEGER NOT NULL,
    ends_at_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
