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

// Which of them runs into the limit first is chance: the array, or the stack of a thread that the runtime starts meanwhile.
func TestEveryWordForNoMemoryIsNoMemory(t *testing.T) {
	for _, said := range []string{
		"fatal error: runtime: out of memory",
		"fatal error: runtime: cannot allocate memory",
		"runtime: failed to create new OS thread (have 5 already; errno=11)",
		"runtime/cgo: pthread_create failed: Resource temporarily unavailable",
	} {
		var c child
		c.said.WriteString(said)
		var want errMemory
		if err := c.ending(nil); !errors.As(err, &want) {
			t.Errorf("%s: %v", said, err)
		}
	}
}
