-- +goose Up
CREATE TABLE enquiries (
  id TEXT COLLATE "C" PRIMARY KEY,
  at BIGINT NOT NULL, -- microseconds since 1970, UTC
  until TEXT COLLATE "C" NOT NULL, -- the last day that it may be kept
  document BYTEA NOT NULL
);

CREATE INDEX enquiries_newest ON enquiries (at, id);
CREATE INDEX enquiries_by_last_day ON enquiries (until);

CREATE TRIGGER enquiries_frozen BEFORE UPDATE ON enquiries
  FOR EACH ROW EXECUTE FUNCTION refuse('an enquiry is kept as it came, or forgotten');
