package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"golang.org/x/term"
)

// progress tells whoever sits at a terminal what is being done, in one line that is
// written over. Elsewhere it is silent.
type progress struct {
	w    io.Writer // nil: silent
	last time.Time
}

func newProgress(f *os.File) *progress {
	if !term.IsTerminal(int(f.Fd())) {
		return &progress{}
	}
	return &progress{w: f}
}

func (p *progress) say(format string, args ...any) {
	if p.w != nil {
		fmt.Fprintf(p.w, "\r\x1b[K"+format, args...)
	}
}

// part says how much of something is done, a few times a second.
func (p *progress) part(what string, done, total uint64) {
	if p.w == nil || done < total && time.Since(p.last) < 200*time.Millisecond {
		return
	}
	p.last = time.Now()
	p.say("%s: %d of %d", what, done, total)
}

// end leaves the line empty.
func (p *progress) end() {
	if p.w != nil {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}
