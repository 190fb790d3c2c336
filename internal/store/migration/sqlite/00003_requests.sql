-- +goose Up
CREATE TABLE requests (
  caller TEXT NOT NULL,
  id TEXT NOT NULL,
  body BLOB NOT NULL, -- SHA-256 of what was asked
  attempt INTEGER NOT NULL,
  claimed_at INTEGER NOT NULL, -- microseconds since 1970, UTC
  answered INTEGER NOT NULL CHECK (answered IN (0, 1)),
  answer BLOB NOT NULL,
  PRIMARY KEY (caller, id)
) STRICT, WITHOUT ROWID;

CREATE INDEX requests_by_age ON requests (claimed_at);

-- +goose StatementBegin
CREATE TRIGGER requests_answered BEFORE UPDATE ON requests
WHEN OLD.answered = 1
BEGIN
  SELECT RAISE(ABORT, 'a request is answered once');
END;
-- +goose StatementEnd
