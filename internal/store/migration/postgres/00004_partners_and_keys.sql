-- +goose Up
CREATE TABLE partners (
  id TEXT COLLATE "C" PRIMARY KEY,
  title TEXT COLLATE "C" NOT NULL,
  terms BYTEA NOT NULL,
  closed INTEGER NOT NULL CHECK (closed IN (0, 1)),
  version INTEGER NOT NULL CHECK (version > 0),
  at BIGINT NOT NULL -- microseconds since 1970, UTC; 0 for none, here and below
);

CREATE TABLE keys (
  id TEXT COLLATE "C" PRIMARY KEY,
  owner TEXT COLLATE "C" NOT NULL, -- empty for the studio
  title TEXT COLLATE "C" NOT NULL,
  scopes TEXT COLLATE "C" NOT NULL, -- with a space between them
  digest BYTEA NOT NULL CHECK (length(digest) = 32), -- SHA-256
  made BIGINT NOT NULL,
  expires BIGINT NOT NULL,
  revoked BIGINT NOT NULL,
  used BIGINT NOT NULL
);

CREATE INDEX keys_of_owner ON keys (owner, id);

CREATE TRIGGER partners_stay BEFORE DELETE OR TRUNCATE ON partners
  EXECUTE FUNCTION refuse('a partner is kept for good');

CREATE TRIGGER partners_go_on BEFORE UPDATE ON partners
  FOR EACH ROW WHEN (OLD.id <> NEW.id OR OLD.at <> NEW.at OR NEW.version <> OLD.version + 1)
  EXECUTE FUNCTION refuse('a partner keeps its id, and each change counts its version up');

CREATE TRIGGER keys_stay BEFORE DELETE OR TRUNCATE ON keys
  EXECUTE FUNCTION refuse('a key is kept for good');

CREATE TRIGGER keys_frozen BEFORE UPDATE ON keys
  FOR EACH ROW WHEN (OLD.id <> NEW.id OR OLD.owner <> NEW.owner OR OLD.scopes <> NEW.scopes OR OLD.digest <> NEW.digest
    OR OLD.made <> NEW.made OR OLD.expires <> NEW.expires)
  EXECUTE FUNCTION refuse('a key opens what it was made for');

CREATE TRIGGER keys_end BEFORE UPDATE ON keys
  FOR EACH ROW WHEN (OLD.revoked <> 0 AND OLD.revoked <> NEW.revoked)
  EXECUTE FUNCTION refuse('a revocation is never undone');

CREATE TRIGGER keys_age BEFORE UPDATE ON keys
  FOR EACH ROW WHEN (NEW.used < OLD.used)
  EXECUTE FUNCTION refuse('the last use of a key is not taken back');
