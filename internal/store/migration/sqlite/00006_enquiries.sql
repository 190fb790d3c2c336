-- +goose Up
CREATE TABLE enquiries (
  id TEXT PRIMARY KEY,
  at INTEGER NOT NULL, -- microseconds since 1970, UTC
  until TEXT NOT NULL, -- the last day that it may be kept
  document BLOB NOT NULL
) STRICT;

CREATE INDEX enquiries_newest ON enquiries (at, id);
CREATE INDEX enquiries_by_last_day ON enquiries (until);

-- +goose StatementBegin
CREATE TRIGGER enquiries_frozen BEFORE UPDATE ON enquiries
BEGIN
  SELECT RAISE(ABORT, 'an enquiry is kept as it came, or forgotten');
END;
-- +goose StatementEnd
