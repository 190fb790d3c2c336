-- +goose Up
-- A row that is changed again and again leaves its former states on its page, and whoever looks
-- for it passes them by. They are cleared away once the page is as full as this.
CREATE TABLE serials (
  year INTEGER PRIMARY KEY,
  last INTEGER NOT NULL -- the last serial number that was taken
) WITH (fillfactor = 10);

CREATE TABLE quotes (
  year INTEGER NOT NULL CHECK (year BETWEEN 1 AND 9999),
  serial INTEGER NOT NULL CHECK (serial > 0),
  owner TEXT COLLATE "C" NOT NULL, -- empty for the studio
  created BIGINT NOT NULL, -- microseconds since 1970, UTC
  state TEXT COLLATE "C" NOT NULL CHECK (state IN ('draft', 'issued', 'accepted', 'declined', 'expired', 'superseded')),
  valid_until TEXT COLLATE "C" NOT NULL,
  etag TEXT COLLATE "C" NOT NULL,
  revisions INTEGER NOT NULL CHECK (revisions > 0),
  -- What lists show: of the offer, or of the draft where there is none.
  title TEXT COLLATE "C" NOT NULL,
  client TEXT COLLATE "C" NOT NULL,
  reference TEXT COLLATE "C" NOT NULL,
  currency TEXT COLLATE "C" NOT NULL,
  net TEXT COLLATE "C" NOT NULL,
  PRIMARY KEY (year, serial)
);

CREATE INDEX quotes_of_owner ON quotes (owner, year, serial);
CREATE INDEX quotes_in_state ON quotes (state, year, serial);
CREATE INDEX quotes_of_reference ON quotes (reference, year, serial) WHERE reference <> '';

CREATE TABLE revisions (
  year INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  revision INTEGER NOT NULL CHECK (revision > 0),
  brief BYTEA NOT NULL,
  rate_book TEXT COLLATE "C" NOT NULL REFERENCES rate_books (revision),
  engine INTEGER NOT NULL,
  fingerprint TEXT COLLATE "C" NOT NULL,
  document BYTEA NOT NULL,
  sum TEXT COLLATE "C" NOT NULL,
  -- What lists show once it is issued.
  title TEXT COLLATE "C" NOT NULL,
  client TEXT COLLATE "C" NOT NULL,
  reference TEXT COLLATE "C" NOT NULL,
  currency TEXT COLLATE "C" NOT NULL,
  net TEXT COLLATE "C" NOT NULL,
  PRIMARY KEY (year, serial, revision),
  FOREIGN KEY (year, serial) REFERENCES quotes (year, serial)
);

CREATE TABLE history (
  year INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  step INTEGER NOT NULL CHECK (step > 0),
  act TEXT COLLATE "C" NOT NULL,
  revision INTEGER NOT NULL,
  sum TEXT COLLATE "C" NOT NULL,
  valid_until TEXT COLLATE "C" NOT NULL,
  actor_kind TEXT COLLATE "C" NOT NULL,
  actor_name TEXT COLLATE "C" NOT NULL,
  at BIGINT NOT NULL, -- microseconds since 1970, UTC
  on_day TEXT COLLATE "C" NOT NULL,
  PRIMARY KEY (year, serial, step),
  FOREIGN KEY (year, serial) REFERENCES quotes (year, serial)
);

CREATE TRIGGER serials_stay BEFORE DELETE OR TRUNCATE ON serials
  EXECUTE FUNCTION refuse('a number is never given twice');

CREATE TRIGGER serials_count BEFORE UPDATE ON serials
  FOR EACH ROW WHEN (OLD.year <> NEW.year OR NEW.last <> OLD.last + 1)
  EXECUTE FUNCTION refuse('numbers are taken one by one');

CREATE TRIGGER quotes_stay BEFORE DELETE OR TRUNCATE ON quotes
  EXECUTE FUNCTION refuse('a quote is kept for good');

CREATE TRIGGER quotes_named BEFORE UPDATE ON quotes
  FOR EACH ROW WHEN (OLD.year <> NEW.year OR OLD.serial <> NEW.serial OR OLD.owner <> NEW.owner OR OLD.created <> NEW.created)
  EXECUTE FUNCTION refuse('a quote keeps its number, its owner and its beginning');

CREATE TRIGGER revisions_stay BEFORE DELETE OR TRUNCATE ON revisions
  EXECUTE FUNCTION refuse('a revision is kept for good');

CREATE TRIGGER revisions_named BEFORE UPDATE ON revisions
  FOR EACH ROW WHEN (OLD.year <> NEW.year OR OLD.serial <> NEW.serial OR OLD.revision <> NEW.revision)
  EXECUTE FUNCTION refuse('a revision keeps its number');

-- What became of a revision stands in the history, which is only added to. After an acceptance
-- nothing is written any more. Whoever adds to the history meanwhile is waited for.
-- +goose StatementBegin
CREATE FUNCTION is_frozen(of_year INTEGER, of_serial INTEGER, of_revision INTEGER) RETURNS boolean LANGUAGE plpgsql AS $$
BEGIN
  PERFORM 1 FROM quotes WHERE year = of_year AND serial = of_serial FOR UPDATE;
  RETURN EXISTS (
    SELECT 1 FROM history WHERE year = of_year AND serial = of_serial AND (act = 'accept' OR act = 'issue' AND revision = of_revision)
  );
END;
$$;
-- +goose StatementEnd

CREATE TRIGGER revisions_frozen BEFORE UPDATE ON revisions
  FOR EACH ROW WHEN (is_frozen(OLD.year, OLD.serial, OLD.revision))
  EXECUTE FUNCTION refuse('what was issued is frozen');

CREATE TRIGGER history_stays BEFORE DELETE OR TRUNCATE ON history
  EXECUTE FUNCTION refuse('history is only added to');

CREATE TRIGGER history_frozen BEFORE UPDATE ON history
  FOR EACH ROW EXECUTE FUNCTION refuse('history is only added to');
