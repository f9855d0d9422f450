-- What the host decided of a contribution, and which version of it was looked at. The newest one
-- holds; earlier ones stay.
CREATE TABLE decision (
    id              INTEGER PRIMARY KEY,
    contribution_id INTEGER NOT NULL REFERENCES contribution (id),
    version         INTEGER NOT NULL CHECK (0 < version),
    decided_at_ms   INTEGER NOT NULL,
    verdict         TEXT    NOT NULL CHECK (verdict IN ('accepted', 'declined')),
    ground          TEXT    NOT NULL CHECK (ground IN ('plausible', 'explained', 'impossible_figures',
                        'copied', 'mistyped', 'against_protocol', 'trial', 'other')),
    note            TEXT    NOT NULL
) STRICT;
CREATE INDEX decision_by_contribution ON decision (contribution_id, id);
