package record

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

// Folder is a report's folder while it is written. Its methods may be called from several goroutines.
//
// Files are named by their path in the folder, with slashes; folders on the way are made. A name is used once. Private
// files hold rows of patients: they and the folders that hold them can be read by their owner only, so a folder holds
// either private files or files to pass on.
type Folder struct {
	target string
	temp   string
	lock   *os.File

	mu      sync.Mutex
	open    int
	outputs []Output
	private map[string]bool // folders in use, and whether they are private
	failed  error           // the first error of a write; a folder that has one cannot be committed
}

// Stage begins a folder that will stand at target, where nothing may stand yet but an earlier report or an empty folder:
// anything else is refused, and so is a report to which files were added that would be lost (names that begin with a
// dot do not count). Folders above target are made.
//
// The work is done in a folder of its own beside target, named ".<name>.unfinished-<number>". Those left by runs that
// were killed are removed here, and an earlier report that a run was killed while replacing is put back. Runs into one
// target at the same time do not disturb each other: the last to commit stays.
func Stage(target string) (*Folder, error) {
	target, err := resolve(target)
	if err != nil {
		return nil, problem(err, target)
	}
	if err := os.MkdirAll(filepath.Dir(target), 0o777); err != nil {
		return nil, problem(err, filepath.Dir(target))
	}
	f := &Folder{target: target, private: map[string]bool{".": false}}
	if err := exclusively(target, f.begin); err != nil {
		return nil, err
	}
	return f, nil
}

// begin clears up after killed runs and makes the working folder.
func (f *Folder) begin() error {
	if err := recoverPrevious(f.target); err != nil {
		return problem(err, f.target)
	}
	if err := replaceable(f.target); err != nil {
		return err
	}
	removeUnfinished(f.target)
	var err error
	f.temp, f.lock, err = makeUnfinished(f.target)
	return problem(err, filepath.Dir(f.target))
}

// resolve returns the absolute path of a target, behind any link at its end, so that the folder itself is replaced.
func resolve(target string) (string, error) {
	abs, err := filepath.Abs(target)
	if err != nil {
		return target, err
	}
	real, err := filepath.EvalSymlinks(abs)
	if errors.Is(err, fs.ErrNotExist) {
		return abs, nil
	}
	return real, err
}

// Write writes a file to pass on.
func (f *Folder) Write(name string, data []byte) error { return f.write(name, data, false) }

// WritePrivate writes a file for its owner only.
func (f *Folder) WritePrivate(name string, data []byte) error { return f.write(name, data, true) }

func (f *Folder) write(name string, data []byte, private bool) error {
	w, err := f.create(name, private)
	if err != nil {
		return err
	}
	_, err = w.Write(data)
	return errors.Join(err, w.Close())
}

// Create begins a file to pass on. The file counts as written when it is closed.
func (f *Folder) Create(name string) (io.WriteCloser, error) { return f.create(name, false) }

// CreatePrivate begins a file for its owner only.
func (f *Folder) CreatePrivate(name string) (io.WriteCloser, error) { return f.create(name, true) }

func (f *Folder) create(name string, private bool) (*file, error) {
	if !localName(name) || name == Name {
		return nil, fmt.Errorf("record: %q is not a name for a file of the report: it must be a plain path inside the folder, and not %s",
			name, Name)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.makeFolders(path.Dir(name), private); err != nil {
		return nil, f.fail(err, name)
	}
	mode := fs.FileMode(0o666)
	if private {
		mode = 0o600
	}
	disk, err := os.OpenFile(f.place(name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return nil, f.fail(err, name)
	}
	f.open++
	w := &file{folder: f, disk: disk, sum: sha256.New(), out: Output{Name: name, Private: private}}
	w.buffer = bufio.NewWriterSize(io.MultiWriter(disk, w.sum), 1<<16)
	return w, nil
}

// makeFolders makes a folder and those above it. The lock is held.
func (f *Folder) makeFolders(dir string, private bool) error {
	if was, made := f.private[dir]; made {
		if was != private && dir != "." {
			return fmt.Errorf("record: the folder %q would hold private files and files to pass on", dir)
		}
		return nil
	}
	if err := f.makeFolders(path.Dir(dir), private); err != nil {
		return err
	}
	mode := fs.FileMode(0o777)
	if private {
		mode = 0o700
	}
	if err := os.Mkdir(f.place(dir), mode); err != nil {
		return err
	}
	f.private[dir] = private
	return nil
}

func (f *Folder) place(name string) string { return filepath.Join(f.temp, filepath.FromSlash(name)) }

// fail keeps the first error of a write, as a problem where it can be mended. The lock is held.
func (f *Folder) fail(err error, name string) error {
	err = problem(err, filepath.Join(f.target, filepath.FromSlash(name)))
	if f.failed == nil {
		f.failed = err
	}
	return err
}

// Outputs returns the files written so far, by name.
func (f *Folder) Outputs() []Output {
	f.mu.Lock()
	defer f.mu.Unlock()
	outputs := slices.Clone(f.outputs)
	slices.SortFunc(outputs, func(x, y Output) int { return strings.Compare(x.Name, y.Name) })
	return outputs
}

// file is a file being written.
type file struct {
	folder *Folder
	disk   *os.File
	buffer *bufio.Writer
	sum    hash.Hash
	out    Output
	closed bool
}

// Write writes and hashes a piece of the file.
func (w *file) Write(p []byte) (int, error) {
	n, err := w.buffer.Write(p)
	w.out.Bytes += int64(n)
	if err != nil {
		w.folder.mu.Lock()
		defer w.folder.mu.Unlock()
		err = w.folder.fail(err, w.out.Name)
	}
	return n, err
}

// Close ends the file and enters it among the outputs.
func (w *file) Close() error {
	if w.closed {
		return fs.ErrClosed
	}
	w.closed = true
	err := w.buffer.Flush()
	if closing := w.disk.Close(); err == nil {
		err = closing
	}
	w.folder.mu.Lock()
	defer w.folder.mu.Unlock()
	w.folder.open--
	if err != nil {
		return w.folder.fail(err, w.out.Name)
	}
	w.out.SHA256 = hex.EncodeToString(w.sum.Sum(nil))
	w.folder.outputs = append(w.folder.outputs, w.out)
	return nil
}
