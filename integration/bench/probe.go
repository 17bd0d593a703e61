package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"
)

// probe is what the disk gives to anyone who asks for durability: appends of 4 KiB, each
// followed by fdatasync. A round in which it is slow was a slow round for everybody.
type probe struct {
	Syncs     int     `json:"syncs"`
	PerSecond float64 `json:"per_second"`
	P50us     int64   `json:"p50_us"`
	P99us     int64   `json:"p99_us"`
}

const minProbe = 300 * time.Millisecond

func probeDisk(dir string, long time.Duration) (p probe, err error) {
	f, err := os.Create(filepath.Join(dir, "probe"))
	if err != nil {
		return p, fmt.Errorf("couldn't probe the disk: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close(), os.Remove(f.Name())) }()
	block := make([]byte, 4096)
	for i := range block {
		block[i] = byte(i * 31) // not zeros, which a file system may keep as a hole
	}
	var times []time.Duration
	begin := time.Now()
	for last := begin; last.Sub(begin) < long; {
		if _, err := f.Write(block); err != nil {
			return p, fmt.Errorf("couldn't probe the disk: %w", err)
		}
		if err := syscall.Fdatasync(int(f.Fd())); err != nil {
			return p, fmt.Errorf("couldn't probe the disk: fdatasync: %w", err)
		}
		now := time.Now()
		times = append(times, now.Sub(last))
		last = now
	}
	took := time.Since(begin)
	slices.Sort(times)
	return probe{
		Syncs: len(times), PerSecond: float64(len(times)) / took.Seconds(),
		P50us: quantile(times, 0.50).Microseconds(), P99us: quantile(times, 0.99).Microseconds(),
	}, nil
}
