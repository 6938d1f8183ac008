package ingest

import (
	"errors"
	"testing"
)

// A child that asks for more than it may is ended by the kernel's limit.
func TestAChildThatAsksForTooMuchMemoryIsAProblemOfItsFile(t *testing.T) {
	t.Setenv(endBadly, "memory")
	var want errMemory
	if err := ofChild(t, func(*reader) {}); !errors.As(err, &want) {
		t.Error(err)
	}
}
