package schemas

import (
	"encoding/json"
	"slices"
	"sync"
)

// instrumentFile is the file of instruments, which describes no table.
const instrumentFile = "instruments.json"

// Instrument is an outcome instrument of the table scores: the range of its total, and which end of it is the good one.
type Instrument struct {
	Code    string  `json:"code"` // as in the field instrument
	Title   string  `json:"title"`
	Minimum float64 `json:"minimum"`
	Maximum float64 `json:"maximum"`
	Better  string  `json:"better"` // "higher" or "lower"
	Unit    string  `json:"unit"`
	Source  string  `json:"source"` // who published the scoring
	// AfterOnly says that it asks about the time after an operation, so that it cannot be answered before one.
	AfterOnly bool `json:"after_only"`
}

// HigherIsBetter reports whether a higher total is a better shoulder.
func (i Instrument) HigherIsBetter() bool { return i.Better == "higher" }

// Instruments returns every instrument, in the order of the code list.
func Instruments() []Instrument { return slices.Clone(instruments()) }

// InstrumentOf returns the instrument with a code.
func InstrumentOf(code string) (Instrument, bool) {
	for _, i := range instruments() {
		if i.Code == code {
			return i, true
		}
	}
	return Instrument{}, false
}

var instruments = sync.OnceValue(func() []Instrument {
	b, err := files.ReadFile("files/" + instrumentFile)
	if err != nil {
		panic(err) // the file is part of the program
	}
	var list struct {
		Instruments []Instrument `json:"instruments"`
	}
	if err := json.Unmarshal(b, &list); err != nil {
		panic("schemas/files/" + instrumentFile + ": " + err.Error())
	}
	return list.Instruments
})
