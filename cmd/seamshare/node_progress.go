package main

import (
	"io"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"seamshare.example/eventstore"
)

// progress shows a bar on stderr for work that takes long, where a person
// watches: never into a file or pipe, and never with --json.
type progress struct {
	mu   sync.Mutex
	what string
	out  io.Writer
	bar  *progressbar.ProgressBar
}

func (s *session) progress(what string) *progress {
	p := &progress{what: what}
	if f, ok := s.stderr.(*os.File); ok && !s.json && term.IsTerminal(int(f.Fd())) {
		p.out = f
	}
	return p
}

// set tells how far the work is. The bar appears with the first call.
func (p *progress) set(done, total int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.out == nil || total <= 0 {
		return
	}
	if p.bar == nil {
		p.bar = progressbar.NewOptions64(total, progressbar.OptionSetWriter(p.out), progressbar.OptionSetDescription(p.what),
			progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish(), progressbar.OptionSetPredictTime(true), progressbar.OptionFullWidth())
	}
	p.bar.ChangeMax64(total)
	// A bar that can't be drawn is no reason to stop the work.
	_ = p.bar.Set64(done)
}

func (p *progress) sequence(done, total eventstore.Sequence) { p.set(int64(done), int64(total)) }

// done takes the bar away.
func (p *progress) done() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.bar != nil {
		_ = p.bar.Finish()
		p.bar = nil
	}
}
