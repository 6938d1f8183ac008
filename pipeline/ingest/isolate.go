package ingest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"strings"
	"sync/atomic"
	"time"

	"deltoid/schemas"
)

// The memory that a child may take: what decoding takes however small the file is, and what its size justifies.
const (
	childMemory  = 1 << 30
	childPerByte = 64
)

// patience is how long a child may say nothing, beside a second for each of the file's MiB.
const patience = 60 * time.Second

// child is the process that reads one Parquet file.
type child struct {
	cmd    *exec.Cmd
	out    io.Reader
	said   bytes.Buffer // what it wrote when it ended badly
	memory int64
	watch  *time.Timer
	wait   time.Duration
	silent atomic.Bool // it was ended because it said nothing
}

// readParquet reads one Parquet file in a child.
func (r *reader) readParquet(ctx context.Context, size int64, b *binding) error {
	c, err := r.startChild(ctx, size, b)
	if err != nil {
		return err
	}
	done, err := r.receive(c, b)
	if err != nil || !done {
		_ = c.cmd.Process.Kill() // it may have ended by itself
	}
	c.watch.Stop()
	ended := c.cmd.Wait()
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case c.silent.Load():
		return b.problem(fmt.Sprintf("the file is damaged: reading it made no progress for %v", c.wait), "", "copy the file again from where it was made, or write it again")
	case errors.As(err, new(schemas.Problems)), errors.As(err, new(handedBack)):
		return err
	case err != nil || !done:
		return b.damaged(c.ending(errors.Join(err, ended)))
	}
	return nil
}

func (r *reader) startChild(ctx context.Context, size int64, b *binding) (*child, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("this program cannot find itself to start the process that reads Parquet: %w", err)
	}
	c := &child{memory: r.memory + childPerByte*min(size, math.MaxInt64/childPerByte-childMemory), wait: r.patience + time.Duration(size>>20)*time.Second}
	asked, err := json.Marshal(&request{Schema: r.schema, Source: r.src, File: b.file, Workers: r.workers, Memory: c.memory})
	if err != nil {
		return nil, err
	}
	c.cmd = exec.CommandContext(ctx, program, childMark, r.src.Files[b.file])
	c.cmd.Stdin, c.cmd.Stderr = bytes.NewReader(asked), &firstWords{b: &c.said}
	c.cmd.WaitDelay = 10 * time.Second
	out, err := c.cmd.StdoutPipe()
	if err == nil {
		err = c.cmd.Start()
	}
	if err != nil {
		return nil, fmt.Errorf("the process that reads Parquet cannot be started: %w", err)
	}
	c.out = out
	c.watch = time.AfterFunc(c.wait, func() {
		c.silent.Store(true)
		_ = c.cmd.Process.Kill()
	})
	return c, nil
}

// firstWords keeps the beginning of what is written.
type firstWords struct{ b *bytes.Buffer }

func (f *firstWords) Write(p []byte) (int, error) {
	const most = 4 << 10
	f.b.Write(p[:min(len(p), max(0, most-f.b.Len()))])
	return len(p), nil
}

// errMemory says that a child asked for more than it may.
type errMemory struct{ limit int64 }

func (e errMemory) Error() string {
	return fmt.Sprintf("it asks for more memory than its size justifies, %d MiB", e.limit>>20)
}

// noMemory is what a process says when it gets no more memory: the runtime; the race detector; the runtime, and the C
// library, that find no room for the stack of one more thread.
var noMemory = []string{"out of memory", "cannot allocate memory", "address space", "create new OS thread", "pthread_create failed"}

// ending says how a child ended that should not have.
func (c *child) ending(err error) error {
	line, _, _ := strings.Cut(strings.TrimSpace(c.said.String()), "\n")
	for _, words := range noMemory {
		if strings.Contains(c.said.String(), words) {
			return errMemory{c.memory}
		}
	}
	if line != "" {
		return fmt.Errorf("%w: %s", errPanic, shorten([]byte(line)))
	}
	return fmt.Errorf("the process that reads it ended: %s", cause(err))
}

// receive takes what a child says. It returns whether the child came to its end in good order.
func (r *reader) receive(c *child, b *binding) (bool, error) {
	var chunks []*chunk
	left, next := 0, 0
	for {
		var f frame
		if err := readFrame(c.out, &f); err != nil {
			return false, err
		}
		c.watch.Reset(c.wait)
		switch {
		case f.Start != nil:
			var err error
			if chunks, left, err = r.startFile(f.Start, b); err != nil {
				return false, err
			}
		case f.Column != nil:
			if err := r.takeColumn(c, f.Column, chunks); err != nil {
				return false, err
			}
			left--
			var err error
			if next, err = r.settleGroups(chunks, next); err != nil {
				return false, err
			}
		case len(f.Problems) > 0:
			return true, asProblems(f.Problems)
		case f.Done && left == 0 && len(b.at) == len(r.specs):
			_, err := r.settleGroups(chunks, next)
			return err == nil, err
		default:
			return false, errFrame
		}
	}
}

func asProblems(list []schemas.Problem) (ps schemas.Problems) {
	for i := range list {
		ps = append(ps, &list[i])
	}
	return ps
}

// startFile takes over the header. It returns a chunk for each row group, and how many columns are to come.
func (r *reader) startFile(s *fileStart, b *binding) ([]*chunk, int, error) {
	b.header, b.at, b.notes = s.Header, s.At, s.Notes
	if len(b.at) != len(r.specs) {
		return nil, 0, errFrame
	}
	bound := 0
	for _, at := range b.at {
		if at >= len(b.header) {
			return nil, 0, errFrame
		}
		if at >= 0 {
			bound++
		}
	}
	if bound == 0 && len(r.specs) > 0 { // who asks for no field wants the header alone
		return nil, 0, schemas.Problems{b.problem("no column of the file belongs to a field", strings.Join(b.header, ", "), "name the columns in the study plan")}
	}
	chunks := make([]*chunk, len(s.Rows))
	first := 0
	for i, rows := range s.Rows {
		chunks[i] = &chunk{file: b, columns: make([]*column, len(r.specs)), height: int(rows), first: first, left: bound}
		first += int(rows)
	}
	if len(r.src.Files) == 1 && r.wide == nil && r.part == nil {
		r.whole = make([]*column, len(r.specs))
		for i, at := range b.at {
			if at >= 0 {
				r.whole[i] = &column{spec: r.specs[i]}
				r.whole[i].resize(first)
			}
		}
	}
	return chunks, bound * len(chunks), nil
}

func (r *reader) takeColumn(c *child, f *columnFrame, chunks []*chunk) error {
	if f.Group < 0 || f.Group >= len(chunks) || chunks[f.Group] == nil || f.Spec < 0 || f.Spec >= len(r.specs) || f.Rows != chunks[f.Group].height ||
		chunks[f.Group].columns[f.Spec] != nil || chunks[f.Group].file.at[f.Spec] < 0 {
		return errFrame
	}
	col := &column{spec: r.specs[f.Spec]}
	if r.whole == nil {
		col.resize(f.Rows)
	} else {
		col.share(r.whole[f.Spec], chunks[f.Group].first, f.Rows)
	}
	if err := f.unpack(c.out, col); err != nil {
		return err
	}
	chunks[f.Group].columns[f.Spec] = col
	chunks[f.Group].left--
	r.report(f.Taken)
	return nil
}

// settleGroups settles the row groups from a place on whose columns are all there, and returns the place of the next. A row
// is its number in the file.
func (r *reader) settleGroups(chunks []*chunk, next int) (int, error) {
	for ; next < len(chunks) && chunks[next].left == 0; next++ {
		c := chunks[next]
		c.lines = make([]int32, c.height)
		for i := range c.lines {
			c.lines[i] = int32(c.first + i + 1)
		}
		if err := r.settle(c); err != nil {
			return next, err
		}
		chunks[next] = nil // the reader has it, or nobody any more
	}
	return next, nil
}
