//go:build race

package bookcase_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/store"
	inmemory "github.com/mouldwright/mouldwright/internal/store/memory"
)

func onDisk(testing.TB, string) store.Store { return inmemory.New() }

const diskless = true
