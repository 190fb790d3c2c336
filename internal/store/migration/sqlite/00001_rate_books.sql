-- +goose Up
PRAGMA application_id = 1298949239; -- "Mldw": a mark in the file that says whose it is

CREATE TABLE rate_books (
  revision TEXT PRIMARY KEY,
  document BLOB NOT NULL,
  sum TEXT NOT NULL,
  at INTEGER NOT NULL -- microseconds since 1970, UTC
) STRICT;

CREATE INDEX rate_books_newest ON rate_books (at, revision);

-- +goose StatementBegin
CREATE TRIGGER rate_books_stay BEFORE DELETE ON rate_books
BEGIN
  SELECT RAISE(ABORT, 'a rate book revision is kept for good');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER rate_books_frozen BEFORE UPDATE ON rate_books
BEGIN
  SELECT RAISE(ABORT, 'a rate book revision is never edited');
END;
-- +goose StatementEnd
