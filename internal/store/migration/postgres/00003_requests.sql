-- +goose Up
CREATE TABLE requests (
  caller TEXT COLLATE "C" NOT NULL,
  id TEXT COLLATE "C" NOT NULL,
  body BYTEA NOT NULL, -- SHA-256 of what was asked
  attempt INTEGER NOT NULL,
  claimed_at BIGINT NOT NULL, -- microseconds since 1970, UTC
  answered INTEGER NOT NULL CHECK (answered IN (0, 1)),
  answer BYTEA NOT NULL,
  PRIMARY KEY (caller, id)
);

CREATE INDEX requests_by_age ON requests (claimed_at);

CREATE TRIGGER requests_answered BEFORE UPDATE ON requests
  FOR EACH ROW WHEN (OLD.answered = 1)
  EXECUTE FUNCTION refuse('a request is answered once');
