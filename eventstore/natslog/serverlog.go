package natslog

import (
	"fmt"
	"log/slog"
	"sync"
)

// serverLogger forwards what the server warns of, keeps its first fatal error,
// and rings an alarm at each error. The server calls it under its own locks, so
// no method may ask the server anything.
type serverLogger struct {
	logger *slog.Logger

	mu      sync.Mutex
	died    error
	ringing chan struct{} // closed at the next error, then made anew
}

func newServerLogger(logger *slog.Logger) *serverLogger {
	return &serverLogger{logger: logger.With("from", "nats-server"), ringing: make(chan struct{})}
}

// alarm returns a channel that is closed at the next error.
func (l *serverLogger) alarm() <-chan struct{} {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.ringing
}

// fatal returns what the server gave up on, if it did.
func (l *serverLogger) fatal() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.died
}

func (l *serverLogger) ring() {
	l.mu.Lock()
	defer l.mu.Unlock()
	close(l.ringing)
	l.ringing = make(chan struct{})
}

// Errorf is the server's.
func (l *serverLogger) Errorf(format string, v ...any) {
	l.logger.Error(fmt.Sprintf(format, v...))
	l.ring()
}

// Fatalf is the server's. It must not end the process: only main does.
func (l *serverLogger) Fatalf(format string, v ...any) {
	err := fmt.Errorf(format, v...)
	l.mu.Lock()
	if l.died == nil {
		l.died = err
	}
	l.mu.Unlock()
	l.logger.Error(err.Error())
	l.ring()
}

// Warnf is the server's.
func (l *serverLogger) Warnf(format string, v ...any) { l.logger.Warn(fmt.Sprintf(format, v...)) }

// Noticef is the server's; start and stop are told by others.
func (l *serverLogger) Noticef(string, ...any) {}

// Debugf is the server's.
func (l *serverLogger) Debugf(string, ...any) {}

// Tracef is the server's.
func (l *serverLogger) Tracef(string, ...any) {}
