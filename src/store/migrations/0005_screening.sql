-- That a version was screened, and under which rules: 0 when it came before there were any.
CREATE TABLE screening (
    contribution_id INTEGER NOT NULL,
    number          INTEGER NOT NULL,
    rules           INTEGER NOT NULL CHECK (0 <= rules),
    PRIMARY KEY (contribution_id, number),
    FOREIGN KEY (contribution_id, number) REFERENCES version (contribution_id, number)
) STRICT, WITHOUT ROWID;

-- What was found in a version when it came. places has JSON Pointers, one a line, for its sender.
CREATE TABLE screening_flag (
    contribution_id INTEGER NOT NULL,
    number          INTEGER NOT NULL,
    position        INTEGER NOT NULL CHECK (0 <= position),
    rule            TEXT    NOT NULL,
    figure          TEXT,
    sentence        TEXT    NOT NULL,
    holds           INTEGER NOT NULL CHECK (holds IN (0, 1)),
    places          TEXT    NOT NULL,
    PRIMARY KEY (contribution_id, number, position),
    FOREIGN KEY (contribution_id, number) REFERENCES version (contribution_id, number)
) STRICT, WITHOUT ROWID;

-- Keyed hashes of single figures, so that contributions which share some are found.
CREATE TABLE likeness (
    study_id        INTEGER NOT NULL REFERENCES study (id),
    mark            BLOB    NOT NULL CHECK (length(mark) = 16),
    contribution_id INTEGER NOT NULL REFERENCES contribution (id),
    PRIMARY KEY (study_id, mark, contribution_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX likeness_by_contribution ON likeness (contribution_id);

-- What was withdrawn is erased: nothing that was made from a document outlives it.
CREATE TRIGGER screening_is_erased_with_the_document
AFTER UPDATE OF document ON version WHEN NEW.document IS NULL
BEGIN
    DELETE FROM likeness WHERE contribution_id = NEW.contribution_id;
    DELETE FROM screening_flag
     WHERE contribution_id = NEW.contribution_id AND number = NEW.number;
    DELETE FROM screening
     WHERE contribution_id = NEW.contribution_id AND number = NEW.number;
END;
