-- +goose Up
CREATE TABLE rate_books (
  revision TEXT COLLATE "C" PRIMARY KEY,
  document BYTEA NOT NULL,
  sum TEXT COLLATE "C" NOT NULL,
  at BIGINT NOT NULL -- microseconds since 1970, UTC
);

CREATE INDEX rate_books_newest ON rate_books (at, revision);

-- +goose StatementBegin
CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '%', TG_ARGV[0];
END;
$$;
-- +goose StatementEnd

CREATE TRIGGER rate_books_stay BEFORE DELETE OR TRUNCATE ON rate_books
  EXECUTE FUNCTION refuse('a rate book revision is kept for good');

CREATE TRIGGER rate_books_frozen BEFORE UPDATE ON rate_books
  FOR EACH ROW EXECUTE FUNCTION refuse('a rate book revision is never edited');
