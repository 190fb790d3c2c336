-- +goose Up
CREATE TABLE mesh_files (
  sum TEXT PRIMARY KEY, -- of the file and how it is read
  file_sum TEXT NOT NULL,
  format TEXT NOT NULL,
  reading BLOB NOT NULL,
  size INTEGER NOT NULL,
  file BLOB NOT NULL -- last, so that the rest is read without it
) STRICT;

CREATE TABLE meshes (
  owner TEXT NOT NULL, -- empty for the studio
  name TEXT NOT NULL,
  sum TEXT NOT NULL REFERENCES mesh_files (sum),
  reading BLOB NOT NULL, -- in the words of whoever gave the name; that of the file is of whoever came first
  room INTEGER NOT NULL CHECK (room >= 0),
  at INTEGER NOT NULL, -- microseconds since 1970, UTC
  PRIMARY KEY (owner, name)
) STRICT, WITHOUT ROWID;

CREATE INDEX meshes_of_file ON meshes (sum);

-- One who keeps a mesh holds the owner's row.
CREATE TABLE mesh_owners (
  owner TEXT PRIMARY KEY
) STRICT;

CREATE TABLE revision_meshes (
  year INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  revision INTEGER NOT NULL,
  name TEXT NOT NULL,
  sum TEXT NOT NULL REFERENCES mesh_files (sum),
  PRIMARY KEY (year, serial, revision, name),
  FOREIGN KEY (year, serial, revision) REFERENCES revisions (year, serial, revision)
) STRICT, WITHOUT ROWID;

CREATE INDEX revision_meshes_of_file ON revision_meshes (sum);

-- +goose StatementBegin
CREATE TRIGGER mesh_files_frozen BEFORE UPDATE ON mesh_files
BEGIN
  SELECT RAISE(ABORT, 'a file is never edited');
END;
-- +goose StatementEnd

-- References hold only where a program asks for them; this one holds whoever deletes.
-- +goose StatementBegin
CREATE TRIGGER mesh_files_stay BEFORE DELETE ON mesh_files
WHEN EXISTS (SELECT 1 FROM revision_meshes WHERE sum = OLD.sum)
BEGIN
  SELECT RAISE(ABORT, 'a revision was priced with this file');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER meshes_frozen BEFORE UPDATE ON meshes
BEGIN
  SELECT RAISE(ABORT, 'a name stands for one mesh until it is dropped');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER revision_meshes_frozen BEFORE UPDATE ON revision_meshes
BEGIN
  SELECT RAISE(ABORT, 'what a revision was priced with is never edited');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER revision_meshes_begin BEFORE INSERT ON revision_meshes
WHEN NOT EXISTS (
    SELECT 1 FROM revisions WHERE year = NEW.year AND serial = NEW.serial AND revision = NEW.revision
  ) OR EXISTS (
    SELECT 1 FROM history WHERE year = NEW.year AND serial = NEW.serial AND (act = 'accept' OR act = 'issue' AND revision = NEW.revision)
  )
BEGIN
  SELECT RAISE(ABORT, 'what was issued is frozen');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER revision_meshes_stay BEFORE DELETE ON revision_meshes
WHEN NOT EXISTS (
    SELECT 1 FROM revisions WHERE year = OLD.year AND serial = OLD.serial AND revision = OLD.revision
  ) OR EXISTS (
    SELECT 1 FROM history WHERE year = OLD.year AND serial = OLD.serial AND (act = 'accept' OR act = 'issue' AND revision = OLD.revision)
  )
BEGIN
  SELECT RAISE(ABORT, 'what was issued is frozen');
END;
-- +goose StatementEnd
