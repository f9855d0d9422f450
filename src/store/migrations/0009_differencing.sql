-- Figures over everybody as they were shown, and who of those behind each had no row, so that no
-- later one is shown beside it that leaves few. cell names the analysis. outsiders has 40 bytes for
-- each of them: the player's and the contribution's identifiers and the version's number, big-endian.
CREATE TABLE figure_over_everybody (
    study_id         INTEGER NOT NULL REFERENCES study (id),
    batch            INTEGER NOT NULL,
    cell             TEXT    NOT NULL,
    players_at_least INTEGER NOT NULL CHECK (0 < players_at_least),
    estimate         REAL    NOT NULL,
    low              REAL    NOT NULL,
    high             REAL    NOT NULL,
    outsiders        BLOB    NOT NULL CHECK (length(outsiders) % 40 = 0),
    PRIMARY KEY (study_id, batch, cell),
    FOREIGN KEY (study_id, batch) REFERENCES batch (study_id, number)
) STRICT, WITHOUT ROWID;
