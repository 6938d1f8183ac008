package schemas

// Type is the type of a field. It is always declared, never inferred from the data.
type Type uint8

// The five types. Table Schema calls Text and Code "string"; a Code is a string with categories.
const (
	Text    Type = iota // free text or an identifier; leading zeros stay
	Code                // one of a declared list of codes
	Integer             // a whole number
	Number              // a real number
	Date                // a whole day: a calendar date, or an offset in days
)

// Schema describes one kind of export table.
type Schema struct {
	Name        string
	Title       string
	Description string
	Fields      []Field
	PrimaryKey  []string   // fields that together name a row once; empty when rows may repeat
	UniqueKeys  [][]string // further keys that no two rows may share; a row with an empty part has no such key
}

// Field describes one column.
type Field struct {
	Name        string
	Title       string
	Description string
	Type        Type
	Unit        string // "years", "kg/m2", "mm", "days", "points"; empty when the field has none
	Codes       []CodeValue
	Required    bool
	Identifier  bool     // a pseudonym: shown masked everywhere but in private files
	Minimum     *float64 // smallest allowed number, or day
	Maximum     *float64
	Pattern     string // a whole-value regular expression, for Text
	KnownOn     string // field of the same table with the day on which the value became known; empty when that is the row's day
}

// CodeValue is one entry of a code list.
type CodeValue struct {
	Value       string
	Label       string
	Description string
}

// Field returns the field with the given name, or nil.
func (s *Schema) Field(name string) *Field {
	for i := range s.Fields {
		if s.Fields[i].Name == name {
			return &s.Fields[i]
		}
	}
	return nil
}

// Label returns the label of a code, or the code itself when the list does not hold it.
func (f *Field) Label(code string) string {
	for i := range f.Codes {
		if f.Codes[i].Value == code && f.Codes[i].Label != "" {
			return f.Codes[i].Label
		}
	}
	return code
}
