-- +goose Up
CREATE TABLE actuals (
  year INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  step INTEGER NOT NULL CHECK (step > 0),
  actor_kind TEXT NOT NULL,
  actor_name TEXT NOT NULL,
  at INTEGER NOT NULL, -- microseconds since 1970, UTC
  document BLOB NOT NULL,
  PRIMARY KEY (year, serial, step),
  FOREIGN KEY (year, serial) REFERENCES quotes (year, serial)
) STRICT, WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER actuals_stay BEFORE DELETE ON actuals
BEGIN
  SELECT RAISE(ABORT, 'what the work took is only added to');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER actuals_frozen BEFORE UPDATE ON actuals
BEGIN
  SELECT RAISE(ABORT, 'what the work took is only added to');
END;
-- +goose StatementEnd
