-- +goose Up
CREATE TABLE partners (
  id TEXT PRIMARY KEY,
  title TEXT NOT NULL,
  terms BLOB NOT NULL,
  closed INTEGER NOT NULL CHECK (closed IN (0, 1)),
  version INTEGER NOT NULL CHECK (version > 0),
  at INTEGER NOT NULL -- microseconds since 1970, UTC; 0 for none, here and below
) STRICT;

CREATE TABLE keys (
  id TEXT PRIMARY KEY,
  owner TEXT NOT NULL, -- empty for the studio
  title TEXT NOT NULL,
  scopes TEXT NOT NULL, -- with a space between them
  digest BLOB NOT NULL CHECK (length(digest) = 32), -- SHA-256
  made INTEGER NOT NULL,
  expires INTEGER NOT NULL,
  revoked INTEGER NOT NULL,
  used INTEGER NOT NULL
) STRICT;

CREATE INDEX keys_of_owner ON keys (owner, id);

-- +goose StatementBegin
CREATE TRIGGER partners_stay BEFORE DELETE ON partners
BEGIN
  SELECT RAISE(ABORT, 'a partner is kept for good');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER partners_go_on BEFORE UPDATE ON partners
WHEN OLD.id <> NEW.id OR OLD.at <> NEW.at OR NEW.version <> OLD.version + 1
BEGIN
  SELECT RAISE(ABORT, 'a partner keeps its id, and each change counts its version up');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER keys_stay BEFORE DELETE ON keys
BEGIN
  SELECT RAISE(ABORT, 'a key is kept for good');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER keys_frozen BEFORE UPDATE ON keys
WHEN OLD.id <> NEW.id OR OLD.owner <> NEW.owner OR OLD.scopes <> NEW.scopes OR OLD.digest <> NEW.digest
    OR OLD.made <> NEW.made OR OLD.expires <> NEW.expires
BEGIN
  SELECT RAISE(ABORT, 'a key opens what it was made for');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER keys_end BEFORE UPDATE ON keys
WHEN OLD.revoked <> 0 AND OLD.revoked <> NEW.revoked
BEGIN
  SELECT RAISE(ABORT, 'a revocation is never undone');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER keys_age BEFORE UPDATE ON keys
WHEN NEW.used < OLD.used
BEGIN
  SELECT RAISE(ABORT, 'the last use of a key is not taken back');
END;
-- +goose StatementEnd
