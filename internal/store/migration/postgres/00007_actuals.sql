-- +goose Up
CREATE TABLE actuals (
  year INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  step INTEGER NOT NULL CHECK (step > 0),
  actor_kind TEXT COLLATE "C" NOT NULL,
  actor_name TEXT COLLATE "C" NOT NULL,
  at BIGINT NOT NULL, -- microseconds since 1970, UTC
  document BYTEA NOT NULL,
  PRIMARY KEY (year, serial, step),
  FOREIGN KEY (year, serial) REFERENCES quotes (year, serial)
);

CREATE TRIGGER actuals_stay BEFORE DELETE OR TRUNCATE ON actuals
  EXECUTE FUNCTION refuse('what the work took is only added to');

CREATE TRIGGER actuals_frozen BEFORE UPDATE ON actuals
  FOR EACH ROW EXECUTE FUNCTION refuse('what the work took is only added to');
