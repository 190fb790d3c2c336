-- +goose Up
CREATE TABLE mesh_files (
  sum TEXT COLLATE "C" PRIMARY KEY, -- of the file and how it is read
  file_sum TEXT COLLATE "C" NOT NULL,
  format TEXT COLLATE "C" NOT NULL,
  reading BYTEA NOT NULL,
  size BIGINT NOT NULL,
  file BYTEA NOT NULL -- last, so that the rest is read without it
);

-- Compressing a scan takes longer than writing it.
ALTER TABLE mesh_files ALTER COLUMN file SET STORAGE EXTERNAL;

CREATE TABLE meshes (
  owner TEXT COLLATE "C" NOT NULL, -- empty for the studio
  name TEXT COLLATE "C" NOT NULL,
  sum TEXT COLLATE "C" NOT NULL REFERENCES mesh_files (sum),
  reading BYTEA NOT NULL, -- in the words of whoever gave the name; that of the file is of whoever came first
  room BIGINT NOT NULL CHECK (room >= 0),
  at BIGINT NOT NULL, -- microseconds since 1970, UTC
  PRIMARY KEY (owner, name)
);

CREATE INDEX meshes_of_file ON meshes (sum);

-- One who keeps a mesh holds the owner's row.
CREATE TABLE mesh_owners (
  owner TEXT COLLATE "C" PRIMARY KEY
);

CREATE TABLE revision_meshes (
  year INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  revision INTEGER NOT NULL,
  name TEXT COLLATE "C" NOT NULL,
  sum TEXT COLLATE "C" NOT NULL REFERENCES mesh_files (sum),
  PRIMARY KEY (year, serial, revision, name),
  FOREIGN KEY (year, serial, revision) REFERENCES revisions (year, serial, revision)
);

CREATE INDEX revision_meshes_of_file ON revision_meshes (sum);

CREATE TRIGGER mesh_files_frozen BEFORE UPDATE ON mesh_files
  FOR EACH ROW EXECUTE FUNCTION refuse('a file is never edited');

CREATE TRIGGER meshes_frozen BEFORE UPDATE ON meshes
  FOR EACH ROW EXECUTE FUNCTION refuse('a name stands for one mesh until it is dropped');

CREATE TRIGGER revision_meshes_frozen BEFORE UPDATE OR TRUNCATE ON revision_meshes
  EXECUTE FUNCTION refuse('what a revision was priced with is never edited');

CREATE TRIGGER revision_meshes_begin BEFORE INSERT ON revision_meshes
  FOR EACH ROW WHEN (is_frozen(NEW.year, NEW.serial, NEW.revision))
  EXECUTE FUNCTION refuse('what was issued is frozen');

CREATE TRIGGER revision_meshes_stay BEFORE DELETE ON revision_meshes
  FOR EACH ROW WHEN (is_frozen(OLD.year, OLD.serial, OLD.revision))
  EXECUTE FUNCTION refuse('what was issued is frozen');
