package ingest

import "syscall"

// cpuSeconds is the time that this process and its children have spent on all cores: on a machine that others use too,
// the one figure that says something.
func cpuSeconds() float64 {
	var all float64
	for _, who := range []int{syscall.RUSAGE_SELF, syscall.RUSAGE_CHILDREN} {
		var u syscall.Rusage
		if err := syscall.Getrusage(who, &u); err == nil {
			all += float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
		}
	}
	return all
}

// peakGiB is the most memory that this process has had.
func peakGiB() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return float64(u.Maxrss) / (1 << 20)
}
