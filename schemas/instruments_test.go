package schemas

import (
	"fmt"
	"strings"
	"testing"
)

// The code list of the field instrument says range and direction in words, the file of instruments in numbers. Written
// apart, they must agree.
func TestInstrumentsAgreeWithTheCodeList(t *testing.T) {
	scores, err := Shipped("scores")
	if err != nil {
		t.Fatal(err)
	}
	codes := scores.Field("instrument").Codes
	if len(codes) != len(Instruments()) {
		t.Fatalf("%d codes and %d instruments", len(codes), len(Instruments()))
	}
	for n, code := range codes {
		i, ok := InstrumentOf(code.Value)
		if !ok || Instruments()[n].Code != code.Value || i.Title != code.Label || i.Source == "" {
			t.Errorf("%s: %+v", code.Value, i)
		}
		if words := fmt.Sprintf("%v to %v ", i.Minimum, i.Maximum); !strings.Contains(code.Description, words) {
			t.Errorf("%s: the code list says %q, which does not hold %q", code.Value, code.Description, words)
		}
		if i.HigherIsBetter() == strings.Contains(code.Description, "higher is worse") {
			t.Errorf("%s: direction %q, the code list says %q", code.Value, i.Better, code.Description)
		}
	}
}

func TestInstrumentsCannotBeChangedThroughTheList(t *testing.T) {
	Instruments()[0].Maximum = -1
	if Instruments()[0].Maximum != 100 {
		t.Error("Instruments hands out its own slice")
	}
	if _, ok := InstrumentOf("unheard of"); ok {
		t.Error("there is an instrument with a name nobody gave")
	}
}
