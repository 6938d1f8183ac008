package ingest

import (
	"os"
	"syscall"
)

// limitMemory lets this process take so much memory more than it has now, and no more. Where that cannot be set, the
// limit of the runtime stands alone.
func limitMemory(bytes int64) {
	var statm [64]byte // pages in use, in decimal digits
	f, err := os.Open("/proc/self/statm")
	if err != nil {
		return
	}
	n, _ := f.Read(statm[:])
	_ = f.Close() // nothing was written
	pages := uint64(0)
	for _, c := range statm[:n] {
		if c < '0' || c > '9' {
			break
		}
		pages = 10*pages + uint64(c-'0')
	}
	most := pages*uint64(os.Getpagesize()) + uint64(bytes)
	_ = syscall.Setrlimit(syscall.RLIMIT_AS, &syscall.Rlimit{Cur: most, Max: most})
}

// widenPipe makes a pipe hold a MiB, so that its two ends wait for one another less often. It is as right without.
func widenPipe(f *os.File) {
	const setPipeSize = 1031 // F_SETPIPE_SZ
	if c, err := f.SyscallConn(); err == nil {
		_ = c.Control(func(fd uintptr) {
			_, _, _ = syscall.Syscall(syscall.SYS_FCNTL, fd, setPipeSize, 1<<20)
		})
	}
}
