-- +goose Up
CREATE TABLE serials (
  year INTEGER PRIMARY KEY,
  last INTEGER NOT NULL -- the last serial number that was taken
) STRICT;

CREATE TABLE quotes (
  year INTEGER NOT NULL CHECK (year BETWEEN 1 AND 9999),
  serial INTEGER NOT NULL CHECK (serial > 0),
  owner TEXT NOT NULL, -- empty for the studio
  created INTEGER NOT NULL, -- microseconds since 1970, UTC
  state TEXT NOT NULL CHECK (state IN ('draft', 'issued', 'accepted', 'declined', 'expired', 'superseded')),
  valid_until TEXT NOT NULL,
  etag TEXT NOT NULL,
  revisions INTEGER NOT NULL CHECK (revisions > 0),
  -- What lists show: of the offer, or of the draft where there is none.
  title TEXT NOT NULL,
  client TEXT NOT NULL,
  reference TEXT NOT NULL,
  currency TEXT NOT NULL,
  net TEXT NOT NULL,
  PRIMARY KEY (year, serial)
) STRICT, WITHOUT ROWID;

CREATE INDEX quotes_of_owner ON quotes (owner, year, serial);
CREATE INDEX quotes_in_state ON quotes (state, year, serial);
CREATE INDEX quotes_of_reference ON quotes (reference, year, serial) WHERE reference <> '';

CREATE TABLE revisions (
  year INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  revision INTEGER NOT NULL CHECK (revision > 0),
  brief BLOB NOT NULL,
  rate_book TEXT NOT NULL REFERENCES rate_books (revision),
  engine INTEGER NOT NULL,
  fingerprint TEXT NOT NULL,
  document BLOB NOT NULL,
  sum TEXT NOT NULL,
  -- What lists show once it is issued.
  title TEXT NOT NULL,
  client TEXT NOT NULL,
  reference TEXT NOT NULL,
  currency TEXT NOT NULL,
  net TEXT NOT NULL,
  PRIMARY KEY (year, serial, revision),
  FOREIGN KEY (year, serial) REFERENCES quotes (year, serial)
) STRICT;

CREATE TABLE history (
  year INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  step INTEGER NOT NULL CHECK (step > 0),
  act TEXT NOT NULL,
  revision INTEGER NOT NULL,
  sum TEXT NOT NULL,
  valid_until TEXT NOT NULL,
  actor_kind TEXT NOT NULL,
  actor_name TEXT NOT NULL,
  at INTEGER NOT NULL, -- microseconds since 1970, UTC
  on_day TEXT NOT NULL,
  PRIMARY KEY (year, serial, step),
  FOREIGN KEY (year, serial) REFERENCES quotes (year, serial)
) STRICT, WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER serials_stay BEFORE DELETE ON serials
BEGIN
  SELECT RAISE(ABORT, 'a number is never given twice');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER serials_count BEFORE UPDATE ON serials
WHEN OLD.year <> NEW.year OR NEW.last <> OLD.last + 1
BEGIN
  SELECT RAISE(ABORT, 'numbers are taken one by one');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER quotes_stay BEFORE DELETE ON quotes
BEGIN
  SELECT RAISE(ABORT, 'a quote is kept for good');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER quotes_named BEFORE UPDATE ON quotes
WHEN OLD.year <> NEW.year OR OLD.serial <> NEW.serial OR OLD.owner <> NEW.owner OR OLD.created <> NEW.created
BEGIN
  SELECT RAISE(ABORT, 'a quote keeps its number, its owner and its beginning');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER revisions_stay BEFORE DELETE ON revisions
BEGIN
  SELECT RAISE(ABORT, 'a revision is kept for good');
END;
-- +goose StatementEnd

-- What became of a revision stands in the history, which is only added to. After an acceptance
-- nothing is written any more.
-- +goose StatementBegin
CREATE TRIGGER revisions_frozen BEFORE UPDATE ON revisions
WHEN OLD.year <> NEW.year OR OLD.serial <> NEW.serial OR OLD.revision <> NEW.revision OR EXISTS (
    SELECT 1 FROM history WHERE year = OLD.year AND serial = OLD.serial AND (act = 'accept' OR act = 'issue' AND revision = OLD.revision)
  )
BEGIN
  SELECT RAISE(ABORT, 'what was issued is frozen');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER history_stays BEFORE DELETE ON history
BEGIN
  SELECT RAISE(ABORT, 'history is only added to');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER history_frozen BEFORE UPDATE ON history
BEGIN
  SELECT RAISE(ABORT, 'history is only added to');
END;
-- +goose StatementEnd
