//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package record

import (
	"os"
	"syscall"
)

// waitForLock takes the lock of an open folder. The system gives it back when the process ends, however it ends. A file
// system without locks refuses; the run then goes on without, and its left-over would never be removed by another.
func waitForLock(f *os.File) { _ = syscall.Flock(int(f.Fd()), syscall.LOCK_EX) }

// tryLock takes the lock if nobody holds it.
func tryLock(f *os.File) bool {
	return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil
}
