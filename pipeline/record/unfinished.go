package record

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

func unfinishedPrefix(target string) string { return "." + filepath.Base(target) + ".unfinished-" }

// exclusively does one of the short steps that runs into one target must not do at the same time: the folder above the
// target is locked meanwhile.
func exclusively(target string, step func() error) error {
	above, err := os.Open(filepath.Dir(target))
	if err != nil {
		return problem(err, filepath.Dir(target))
	}
	defer above.Close()
	waitForLock(above)
	return step()
}

// makeUnfinished makes the folder that a run works in, and locks it for as long as the run lives.
func makeUnfinished(target string) (temp string, lock *os.File, err error) {
	for n := 1; ; n++ {
		temp = filepath.Join(filepath.Dir(target), fmt.Sprintf("%s%d", unfinishedPrefix(target), n))
		err = os.Mkdir(temp, 0o777)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return "", nil, err
		}
		if lock, err = os.Open(temp); err == nil {
			waitForLock(lock)
		}
		return temp, lock, err
	}
}

// removeUnfinished removes the working folders of runs that no longer live. It is a courtesy: what cannot be removed
// stays.
func removeUnfinished(target string) {
	entries, err := os.ReadDir(filepath.Dir(target))
	if err != nil {
		return
	}
	for _, e := range entries {
		if e.IsDir() && strings.HasPrefix(e.Name(), unfinishedPrefix(target)) {
			removeIfDead(filepath.Join(filepath.Dir(target), e.Name()))
		}
	}
}

func removeIfDead(temp string) {
	f, err := os.Open(temp)
	if err != nil {
		return
	}
	defer f.Close()
	if tryLock(f) {
		_ = os.RemoveAll(temp)
	}
}
