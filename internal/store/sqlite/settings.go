package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
)

// A setting is what a connection is told, and what it must say when asked.
type setting struct{ pragma, value, answer string }

// common settings, in the order that they are made ("PRAGMA Statements", sqlite.org/pragma.html):
// wait 10 s for another program's lock; a log that readers need not wait for; what was
// acknowledged survives the loss of power; references hold; triggers see what a replacement
// deletes; functions that a file's own schema calls are not trusted.
func common() []setting {
	return []setting{
		{"busy_timeout", "10000", "10000"},
		{"journal_mode", "WAL", "wal"},
		{"synchronous", "FULL", "2"},
		{"foreign_keys", "ON", "1"},
		{"recursive_triggers", "ON", "1"},
		{"trusted_schema", "OFF", "0"},
	}
}

func writing() []setting { return append(common(), setting{"query_only", "OFF", "0"}) }
func reading() []setting { return append(common(), setting{"query_only", "ON", "1"}) }

// looking leaves a file as it is, also the way that its log is kept, and reads it with distrust.
func looking() []setting {
	return []setting{
		{"busy_timeout", "10000", "10000"},
		{"cell_size_check", "ON", "1"},
		{"trusted_schema", "OFF", "0"},
	}
}

// checked opens connections and refuses those that are not as they were told to be: a pragma
// that is misspelt or not supported is ignored without a word.
type checked struct {
	driver.Connector
	settings []setting
}

// Connect opens a connection and asks it for each setting.
func (c checked) Connect(ctx context.Context) (driver.Conn, error) {
	opened, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	conn, ok := opened.(connection)
	if !ok {
		return nil, errors.Join(errors.New("the driver cannot be asked for its settings"), opened.Close())
	}
	for _, s := range c.settings {
		if err := s.holds(ctx, conn); err != nil {
			return nil, errors.Join(err, conn.Close())
		}
	}
	return &keeping{connection: conn}, nil
}

func (s setting) holds(ctx context.Context, conn connection) error {
	rows, err := conn.QueryContext(ctx, "PRAGMA "+s.pragma, nil)
	if err != nil {
		return err
	}
	got := make([]driver.Value, 1)
	if err := rows.Next(got); err != nil && !errors.Is(err, io.EOF) {
		return errors.Join(err, rows.Close())
	}
	if fmt.Sprint(got[0]) != s.answer {
		err = fmt.Errorf("the database's %s is %v, and must be %s", s.pragma, got[0], s.answer)
	}
	return errors.Join(err, rows.Close())
}
