package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"sync"

	"golang.org/x/term"
)

// options are the flags that every command takes, and where it prints.
type options struct {
	out            string
	json, quiet    bool
	stdout, stderr io.Writer
}

// print writes a result: as JSON, in words, or not at all.
func (o *options) print(result any, inWords func(io.Writer)) error {
	out := &keeper{w: o.stdout}
	switch {
	case o.json:
		e := json.NewEncoder(out)
		e.SetIndent("", "  ")
		e.SetEscapeHTML(false)
		if err := e.Encode(result); out.err == nil {
			return err
		}
	case !o.quiet:
		inWords(out)
	}
	return unprinted(out.err)
}

// progress is one line on a terminal that says what is being done. Where stderr is not a terminal it writes nothing.
type progress struct {
	mu   sync.Mutex
	to   io.Writer // nil: silent
	what string
	last int
}

func (o *options) progress() *progress {
	f, ok := o.stderr.(*os.File)
	if !ok || o.quiet || o.json || !term.IsTerminal(int(f.Fd())) {
		return &progress{}
	}
	return &progress{to: f}
}

// step begins a new step.
func (p *progress) step(what string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.what, p.last = what, -1
	if p.to != nil {
		fmt.Fprintf(p.to, "\r\x1b[K%s …", what)
	}
}

// part says how much of the step is done.
func (p *progress) part(done, total int64) {
	if p.to == nil || total <= 0 {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if percent := int(100 * done / total); percent != p.last {
		p.last = percent
		fmt.Fprintf(p.to, "\r\x1b[K%s … %d%%", p.what, percent)
	}
}

// end clears the line.
func (p *progress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.to != nil {
		fmt.Fprint(p.to, "\r\x1b[K")
	}
}
