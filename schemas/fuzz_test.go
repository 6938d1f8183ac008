package schemas

import (
	"errors"
	"strings"
	"testing"
)

// Whatever bytes are read as a schema, the answer is a schema that can be used or problems that say where, and no panic.
func FuzzParse(f *testing.F) {
	entries, err := files.ReadDir("files")
	if err != nil {
		f.Fatal(err)
	}
	for _, e := range entries {
		b, err := files.ReadFile("files/" + e.Name())
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	for _, s := range []string{"", "{", "[]", "null", `{"name": "x", "fieldsMatch": "partial", "fields": [{"name": "a", "type": "string"}]}`,
		`{"name": "x", "fieldsMatch": "partial", "fields": [{"name": "a", "type": "date", "constraints": {"minimum": "2020-01-01", "maximum": "x"}}]}`,
		`{"name": "x", "fieldsMatch": "partial", "fields": [{"name": "a", "type": "string", "constraints": {"pattern": "(("}}], "primaryKey": ["b"]}`,
		`{"name": "x", "fieldsMatch": "partial", "fields": [{"name": "a", "type": "number", "constraints": {"minimum": 1e999}}]}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := Parse(b)
		var one *Problem
		var many Problems
		if err != nil {
			if s != nil || !errors.As(err, &one) && !errors.As(err, &many) || strings.TrimSpace(err.Error()) == "" {
				t.Fatalf("%v with the error %v", s, err)
			}
			return
		}
		if s.Name == "" || len(s.Fields) == 0 {
			t.Fatalf("a schema without a name or fields was taken: %+v", s)
		}
		for _, key := range s.keys() {
			for _, name := range key {
				if s.Field(name) == nil {
					t.Fatalf("the key names %q, which is no field", name)
				}
			}
		}
		for i := range s.Fields {
			f := &s.Fields[i]
			if f.Name == "" || f.Minimum != nil && f.Maximum != nil && *f.Minimum > *f.Maximum || f.Type != Code && len(f.Codes) > 0 {
				t.Fatalf("a field was taken that nothing fits: %+v", *f)
			}
		}
	})
}
