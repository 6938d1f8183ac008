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
	Spoken  string  `json:"spoken"` // inside a sentence: "the Constant score"
	Minimum float64 `json:"minimum"`
	Maximum float64 `json:"maximum"`
	Better  string  `json:"better"` // "higher" or "lower"
	Unit    string  `json:"unit"`
	Source  string  `json:"source"` // who published the scoring
	// AfterOnly says that it asks about the time after an operation, so that it cannot be answered before one.
	AfterOnly bool `json:"after_only"`
	// Scale names the scale of Minimum and Maximum where other scales are in use; empty where there is one only.
	Scale  string  `json:"scale"`
	Others []Scale `json:"other_scales"`
	// Answers are the answers of a single question, from the lowest value up; empty for a score.
	Answers []Answer `json:"answers"`
	// Scoring says how items make the total; nil where that is not public, or there are no items.
	Scoring *Scoring `json:"scoring"`
}

// Scale is another scale on which an instrument is in use. A value x on it is Plus + Times·x on ours.
type Scale struct {
	Name    string  `json:"name"`
	Minimum float64 `json:"minimum"`
	Maximum float64 `json:"maximum"`
	Better  string  `json:"better"`
	Plus    float64 `json:"plus"`
	Times   float64 `json:"times"`
	Source  string  `json:"source"`
	// ItemMinimum and ItemMaximum are the range of each item on this scale; both 0 where items are not known on it.
	ItemMinimum float64 `json:"item_minimum"`
	ItemMaximum float64 `json:"item_maximum"`
}

// Ours turns a value on the scale into one on ours.
func (s Scale) Ours(x float64) float64 { return s.Plus + float64(s.Times*x) }

// usual reports whether a value on the scale is one on ours.
func (s Scale) usual() bool { return s.Plus == 0 && s.Times == 1 }

// Answer is one answer of a question.
type Answer struct {
	Value float64 `json:"value"`
	Words string  `json:"words"`
}

// HigherIsBetter reports whether a higher total is a better shoulder.
func (i Instrument) HigherIsBetter() bool { return i.Better == "higher" }

// IsQuestion reports whether the instrument is one question with a few answers, such as an anchor, and no score.
func (i Instrument) IsQuestion() bool { return len(i.Answers) > 0 }

// Answer returns the words of an answer, and false for a value that is none.
func (i Instrument) Answer(value float64) (string, bool) {
	for _, a := range i.Answers {
		if a.Value == value {
			return a.Words, true
		}
	}
	return "", false
}

// OnScale returns a scale of the instrument by its name, and false for one that it does not have. Its own scale turns no
// value.
func (i Instrument) OnScale(name string) (Scale, bool) {
	if name == "" || name == i.Scale {
		return Scale{Name: i.Scale, Minimum: i.Minimum, Maximum: i.Maximum, Better: i.Better, Times: 1}, true
	}
	for _, s := range i.Others {
		if s.Name == name {
			return s, true
		}
	}
	return Scale{}, false
}

// ScaleNames returns the names of the scales in use, our own first; none where there is one only.
func (i Instrument) ScaleNames() []string {
	if i.Scale == "" {
		return nil
	}
	names := []string{i.Scale}
	for _, s := range i.Others {
		names = append(names, s.Name)
	}
	return names
}

// Instruments returns every instrument, in the order of the code list.
func Instruments() []Instrument { return slices.Clone(instrumentList().Instruments) }

// InstrumentOf returns the instrument with a code.
func InstrumentOf(code string) (Instrument, bool) {
	for _, i := range instrumentList().Instruments {
		if i.Code == code {
			return i, true
		}
	}
	return Instrument{}, false
}

// listOfInstruments is what the file holds.
type listOfInstruments struct {
	Instruments []Instrument `json:"instruments"`
	Published   []Published  `json:"published"`
}

var instrumentList = sync.OnceValue(func() (list listOfInstruments) {
	b, err := files.ReadFile("files/" + instrumentFile)
	if err != nil {
		panic(err) // the file is part of the program
	}
	if err := json.Unmarshal(b, &list); err != nil {
		panic("schemas/files/" + instrumentFile + ": " + err.Error())
	}
	return list
})
