package main

import (
	"bytes"
	"fmt"
	"os"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// machine is what the numbers were taken on.
type machine struct {
	OS           string `json:"os"`
	Kernel       string `json:"kernel"`
	Go           string `json:"go"`
	Processor    string `json:"processor"`
	CPUs         int    `json:"cpus"`
	MemoryBytes  int64  `json:"memory_bytes"`
	FileSystem   string `json:"file_system"`
	LoadAtStart  string `json:"load_at_start"` // as /proc/loadavg says
	PostgreSQL   string `json:"postgresql,omitempty"`
	PostgresUser string `json:"postgresql_user,omitempty"`
}

func thisMachine(dir string) machine {
	m := machine{OS: runtime.GOOS + "/" + runtime.GOARCH, Go: runtime.Version(), CPUs: runtime.NumCPU()}
	m.Kernel = firstLine("/proc/sys/kernel/osrelease")
	m.LoadAtStart = firstLine("/proc/loadavg")
	m.Processor = fieldOf("/proc/cpuinfo", "model name")
	m.MemoryBytes = kilobytes(fieldOf("/proc/meminfo", "MemTotal"))
	m.FileSystem = fileSystem(dir)
	return m
}

// busy reports that something else ran already: a load above a quarter of the processors.
func (m machine) busy() bool {
	load, _, _ := strings.Cut(m.LoadAtStart, " ")
	n, err := strconv.ParseFloat(load, 64)
	return err == nil && n > float64(m.CPUs)/4
}

func firstLine(path string) string {
	data, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	line, _, _ := strings.Cut(string(data), "\n")
	return strings.TrimSpace(line)
}

// fieldOf finds the first "name: value" line of a file in /proc.
func fieldOf(path, name string) string {
	data, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	for line := range bytes.Lines(data) {
		key, value, found := strings.Cut(string(line), ":")
		if found && strings.TrimSpace(key) == name {
			return strings.TrimSpace(value)
		}
	}
	return ""
}

func kilobytes(text string) int64 {
	n, err := strconv.ParseInt(strings.TrimSuffix(text, " kB"), 10, 64)
	if err != nil {
		return 0
	}
	return n << 10
}

// memory is what the kernel says of this process: now, and at most so far.
func memory() (now, peak int64) {
	return kilobytes(fieldOf("/proc/self/status", "VmRSS")), kilobytes(fieldOf("/proc/self/status", "VmHWM"))
}

// processorTime is what this process has used so far, in user and kernel.
func processorTime() time.Duration {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

const tmpfsMagic = 0x01021994 // statfs(2)

// inMemory reports a directory on which a sync costs nothing, so that no number taken
// there means anything.
func inMemory(dir string) (bool, error) {
	var fs syscall.Statfs_t
	if err := syscall.Statfs(dir, &fs); err != nil {
		return false, fmt.Errorf("couldn't ask what file system %s is on: %w", dir, err)
	}
	return fs.Type == tmpfsMagic, nil
}

// fileSystem names the file system and device of a directory.
func fileSystem(dir string) string {
	data, err := os.ReadFile("/proc/self/mounts")
	if err != nil {
		return ""
	}
	best, what := "", ""
	for line := range strings.Lines(string(data)) {
		f := strings.Fields(line)
		if len(f) < 4 || len(f[1]) < len(best) {
			continue
		}
		if f[1] == "/" || dir == f[1] || strings.HasPrefix(dir, f[1]+"/") {
			best, what = f[1], f[2]+" on "+f[0]
		}
	}
	return what
}

// benchDir makes the directory that all is kept in: below the one asked for, else below
// the system's place for temporary files, or where that is in memory, here.
func benchDir(asked string) (string, error) {
	under := asked
	if under == "" {
		under = os.TempDir()
		if memory, err := inMemory(under); err == nil && memory {
			under = "."
		}
	}
	if memory, err := inMemory(under); err != nil {
		return "", err
	} else if memory {
		return "", fmt.Errorf("--dir %s is in memory, where syncing to disk costs nothing: name a directory on a disk", under)
	}
	dir, err := os.MkdirTemp(under, "bench-")
	if err != nil {
		return "", fmt.Errorf("couldn't make the bench's directory: %w", err)
	}
	// PostgreSQL runs as another user, who must get through to its own part.
	return dir, os.Chmod(dir, 0o711)
}
