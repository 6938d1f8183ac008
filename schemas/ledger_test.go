package schemas

import (
	"strings"
	"testing"
)

func TestLedgerClosesOnlyWhenItAddsUp(t *testing.T) {
	even := Ledger{Table: "revisions", Read: 10, Used: 7, SetAside: 2, Unlinked: 1}
	if err := even.Close(); err != nil {
		t.Errorf("7 + 2 + 1 = 10: %v", err)
	}
	for _, l := range []Ledger{
		{Table: "revisions", Read: 11, Used: 7, SetAside: 2, Unlinked: 1}, // a row lost
		{Table: "revisions", Read: 9, Used: 7, SetAside: 2, Unlinked: 1},  // a row counted twice
	} {
		err := l.Close()
		if err == nil || !strings.Contains(err.Error(), `"revisions"`) || !strings.Contains(err.Error(), "7 used + 2 set aside + 1 unlinked = 10") {
			t.Errorf("%+v: %v", l, err)
		}
	}
}
