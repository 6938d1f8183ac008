package schemas

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// textTable makes a table of procedures with one more column of texts, and further columns that are not read.
func textTable(header string, values []string, unread ...string) *Table {
	s, _ := Shipped("procedures")
	offsets, data := []int32{0}, []byte{}
	lines := make([]int32, len(values))
	for i, v := range values {
		data = append(data, v...)
		offsets = append(offsets, int32(len(data)))
		lines[i] = int32(i + 2)
	}
	c := TextColumn(&Field{Name: "extra", Type: Text}, offsets, data)
	c.Header, c.Position = header, 1
	return NewTable(s, []Piece{{File: "export.csv", Rows: len(values), Header: append([]string{header}, unread...)}}, lines, []*Column{c})
}

// letters returns the identifiers that a scan tells, as letters of the rule.
func lettersOf(suspects []Suspect) string {
	var b strings.Builder
	for _, s := range suspects {
		b.WriteString(s.Identifier.Letter)
	}
	return b.String()
}

// The list is that of 45 CFR 164.514(b)(2)(i)(A) to (R).
func TestThereAreEighteenIdentifiers(t *testing.T) {
	all := Identifiers()
	for i, id := range all {
		if id.Letter != string(rune('A'+i)) || id.Title == "" || len(id.names) == 0 {
			t.Errorf("%d: %+v", i, id)
		}
	}
	if len(all) != 18 {
		t.Errorf("%d identifiers", len(all))
	}
}

func TestNamesOfColumnsThatIdentify(t *testing.T) {
	for header, letter := range map[string]string{
		"PATIENT_NAME": "A", "lastName": "A", "Nachname": "A", "prénom": "A", "apellidos": "A", "name": "A", "SURGEON NAME": "A",
		"home_address": "B", "PLZ": "B", "Straße": "B", "Postleitzahl": "B", "zip5": "B", "DOB": "C", "BirthDate": "C", "geb_datum": "C", "fødselsdato": "C",
		"Phone": "D", "tel_no": "D", "fax": "E", "E-Mail": "F", "SSN": "G", "nhs number": "G", "personnummer": "G", "MRN": "H", "Fallnummer": "H",
		"insurance_no": "I", "IBAN": "J", "licence_number": "K", "Kennzeichen": "L", "SERIAL_NO": "M", "udi": "M", "url": "N", "ip_address": "O",
		"fingerprint": "P", "photo": "Q", "Comments": "R", "OP_NOTE": "R",
	} {
		if got := lettersOf(Scan(textTable("x", nil, header), &Findings{})); got != letter {
			t.Errorf("%s: told as %q, want %q", header, got, letter)
		}
	}
}

// Every field of every shipped table, the columns of the invented registry and common names of harmless columns.
func TestNamesOfColumnsThatDoNot(t *testing.T) {
	harmless := []string{"PAT_NO", "SIDE", "OP_DATE", "KIND", "OCCASION", "UNIT", "OPERATOR", "HUM_CODE", "GLEN_CODE", "WHY", "id", "case", "site",
		"year_of_birth", "birth_year", "implant_name", "hospital_code", "time", "status", "relative_risk", "mobile_bearing", "age", "region", "nomen", "ort_score"}
	for _, table := range Names() {
		s, err := Shipped(table)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range s.Fields {
			harmless = append(harmless, f.Name)
		}
	}
	for _, header := range harmless {
		if got := Scan(textTable("x", nil, header), &Findings{}); len(got) > 0 {
			t.Errorf("%s: %+v", header, got)
		}
	}
}

// Numbers with check digits are those that the issuing bodies print as examples, or made by their published rule: NHS
// 943 476 5919 (NHS Data Dictionary), PESEL 44051401359, BSN 111222333, DNI 12345678Z; from memory.
func TestValuesThatIdentify(t *testing.T) {
	for name, test := range map[string]struct {
		letter string
		values []string
	}{
		"mail":              {"F", []string{"K-17", "jo.doe@example.org"}},
		"web":               {"N", []string{"see http://example.org/1"}},
		"computers":         {"O", []string{"192.0.2.17", "198.51.100.3"}},
		"long address":      {"O", []string{"2001:0db8:0000:0000:0000:0000:0000:0001"}},
		"device":            {"M", []string{"00:00:5e:00:53:01"}},
		"social security":   {"G", []string{"078-05-1120"}},
		"Nordic":            {"G", []string{"010190-1234", "311265-9876"}},
		"check digit":       {"G", []string{"9434765919", "943 476 5919", "9434765919"}},
		"eleven digits":     {"G", []string{"44051401359", "44051401359", "44051401359"}},
		"nine digits":       {"G", []string{"111222333", "111222333", "111222333"}},
		"letter at the end": {"G", []string{"12345678Z", "12345678Z", "12345678Z"}},
		"telephone":         {"D", []string{"+44 20 7946 0018"}},
		"telephone at home": {"D", []string{"020 7946 0018", "0171-4960-123", "none"}},
		"date":              {"C", []string{"A", "B", "seen 03.04.1951"}},
		"ISO date":          {"C", []string{"1951-04-03"}},
		"street":            {"B", []string{"12 Invented Road"}},
		"Straße":            {"B", []string{"Erfundene Straße 3"}},
		"rue":               {"B", []string{"12, rue des Inventions"}},
		"postcode":          {"B", []string{"ZZ9 9ZZ", "ZZ1 1AA"}},
		"title":             {"A", []string{"Mrs Invented"}},
		"surname first":     {"A", []string{"Doe, Jo", "Roe, Sam"}},
		"forenames":         {"A", []string{"ANNA B", "Peter C", "x1"}},
		"free text":         {"R", []string{"1", "2", "the patient asked to be seen once more soon"}},
	} {
		got := Scan(textTable("x", test.values), &Findings{})
		if lettersOf(got) != test.letter {
			t.Errorf("%s: told as %q, want %q: %+v", name, lettersOf(got), test.letter, got)
		}
		for _, p := range Review(textTable("x", test.values), got) {
			for _, v := range test.values {
				if len(v) > 3 && strings.Contains(p.Error(), v) || p.Kind != IdentifierProblem {
					t.Errorf("%s: the message gives a value away or is of another kind: %v", name, p)
				}
			}
		}
	}
}

func TestValuesThatDoNot(t *testing.T) {
	many := func(f func(i int) string) []string {
		list := make([]string, 200)
		for i := range list {
			list[i] = f(i)
		}
		return list
	}
	for name, values := range map[string][]string{
		"codes":             {"01", "K-17", "HUM-200", "B"},
		"nothing":           {"", ""},
		"short pseudonyms":  many(func(i int) string { return fmt.Sprintf("P%05d", i) }),
		"implants":          {"Invented stem 12", "Invented stem 14", "Glenoid, 38"},
		"numbers with dots": {"1.2.3", "1.2.4"},
		"versions":          {"2.0", "3.1-rc1"},
		"hospitals":         {"North", "South East", "The Isles"},
	} {
		if got := Scan(textTable("x", values), &Findings{}); len(got) > 0 {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// Ages over 89 are told, 89 is not, nor are older ones that stand in one group of 90: 45 CFR 164.514(b)(2)(i)(C).
func TestAgesOver89(t *testing.T) {
	s, _ := Shipped("procedures")
	for _, test := range []struct {
		ages []float64
		want string
	}{{[]float64{60, 89, math.NaN()}, ""}, {[]float64{60, 89.9}, ""}, {[]float64{60, 90, 90}, ""}, {[]float64{60, 90.5}, "C"}, {[]float64{104, 91}, "C"}} {
		c := NumberColumn(s.Field("age"), test.ages)
		c.Header, c.Position = "AGE", 4
		table := NewTable(s, []Piece{{File: "a.csv", Rows: len(test.ages), Header: []string{"AGE"}}}, make([]int32, len(test.ages)), []*Column{c})
		if got := lettersOf(Scan(table, &Findings{})); got != test.want {
			t.Errorf("%v: %q, want %q", test.ages, got, test.want)
		}
	}
}

// Dates of birth are known by lying long before the day of their row, whatever the column is called.
func TestDatesOfBirthUnderAnotherName(t *testing.T) {
	s, _ := Shipped("procedures")
	day := DateColumn(s.Field("day"), []int32{18000, 18100, 18200})
	day.Header, day.Position = "day", 1
	for want, values := range map[string][]int32{"C": {-5000, 100, NoDay}, "": {17900, 18090, 3000}} {
		other := DateColumn(&Field{Name: "d2", Type: Date}, values)
		other.Header, other.Position = "D2", 2
		table := NewTable(s, []Piece{{File: "a.csv", Rows: 3, Header: []string{"day", "D2"}}}, make([]int32, 3), []*Column{day, other})
		if got := lettersOf(Scan(table, &Findings{})); got != want {
			t.Errorf("%v: %q, want %q", values, got, want)
		}
	}
}

// A value that a rule refused is looked at too: an e-mail address in a column of codes never reaches the column.
func TestRefusedValuesAreScanned(t *testing.T) {
	table := tableOf(t, "procedures", []string{"patient", "sex"}, []string{"p1", "?"})
	found := &Findings{}
	f := table.Find(RuleUnknownCode, 0, "sex", "")
	f.Value = "jo@example.org"
	found.Add(f)
	got := Scan(table, found)
	if lettersOf(got) != "F" || got[0].Field != "sex" || strings.Contains(got[0].Why, "example") {
		t.Errorf("%+v", got)
	}
}

func TestReviewStopsUntilThePlanSpeaks(t *testing.T) {
	table := textTable("CONTACT", []string{"jo@example.org"}, "SURNAME", "K")
	try := func(src Source) string {
		src.Plan = "plan.yaml:3"
		table.Follow(&src)
		ps := Review(table, Scan(table, &Findings{}))
		if len(ps) == 0 {
			return ""
		}
		return ps.Error()
	}
	if said := try(Source{}); !strings.Contains(said, `"CONTACT"`) || !strings.Contains(said, `"SURNAME"`) || !strings.Contains(said, "exports.procedures.drop") ||
		!strings.Contains(said, "exports.procedures.reviewed") || strings.Contains(said, `"K"`) {
		t.Error(said)
	}
	if said := try(Source{Reviewed: map[string]string{"CONTACT": "role addresses"}}); strings.Contains(said, "CONTACT") || !strings.Contains(said, "SURNAME") {
		t.Error(said)
	}
	if said := try(Source{Reviewed: map[string]string{"CONTACT": "role addresses"}, Drop: []string{"SURNAME"}}); said != "" {
		t.Error(said)
	}
	if said := try(Source{Reviewed: map[string]string{"CONTACTS": "x"}, Drop: []string{"SURNAME"}}); !strings.Contains(said, `"CONTACTS" that stands under reviewed`) ||
		!strings.Contains(said, `write "CONTACT"`) {
		t.Error(said)
	}
}

func TestReviewedColumnsKeepTheirValues(t *testing.T) {
	table := textTable("CONTACT", []string{"jo@example.org"})
	table.Follow(&Source{Reviewed: map[string]string{"CONTACT": "role addresses"}})
	if f := table.Find(RulePattern, 0, "extra", ""); f.Value != withheld {
		t.Errorf("the finding holds %q", f.Value)
	}
}

// The messages of a scan never hold what the column holds, whatever that is.
func FuzzScanTellsNoValue(f *testing.F) {
	for _, s := range []string{"jo.doe@example.org", "078-05-1120", "12 Invented Road", "Doe, Jo", "+44 20 7946 0018", "\xff\xfe", "é", "1.2.3.4", ""} {
		f.Add("COLUMN", s)
		f.Add(s, "x")
	}
	f.Fuzz(func(t *testing.T, header, value string) {
		table := textTable(header, []string{value, value, value})
		for _, s := range Scan(table, &Findings{}) {
			if len(value) > 8 && strings.Contains(strings.ReplaceAll(s.Why, header, ""), value) {
				t.Errorf("%q is in %q", value, s.Why)
			}
		}
	})
}

// However a value is written, looking at it does not depend on the rows around it: the shares count rows.
func TestScanCountsRows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, of := rapid.IntRange(0, 30).Draw(t, "n"), rapid.IntRange(1, 30).Draw(t, "of")
		values := make([]string, of)
		for i := range values {
			values[i] = "K-17"
			if i < n {
				values[i] = "Doe, Jo"
			}
		}
		hit := min(n, of) >= 2 && 2*min(n, of) >= of
		if got := lettersOf(Scan(textTable("x", values), &Findings{})); (got == "A") != hit {
			t.Errorf("%d of %d: %q", n, of, got)
		}
	})
}

// Looking for identifiers in a column of a million pseudonyms.
func BenchmarkScan(b *testing.B) {
	for name, form := range map[string]string{"letters": "P%09d", "digits": "%010d"} {
		b.Run(name, func(b *testing.B) {
			values := make([]string, 1_000_000)
			for i := range values {
				values[i] = fmt.Sprintf(form, i*7)
			}
			table := textTable("PAT_NO", values)
			b.ResetTimer()
			for b.Loop() {
				Scan(table, &Findings{})
			}
		})
	}
}
