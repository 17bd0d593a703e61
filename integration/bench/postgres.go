package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// postgres is a fresh PostgreSQL cluster of the bench's own.
type postgres struct {
	socket  string // directory
	version string
	user    string // the operating system's, who runs it
	process *exec.Cmd
	ended   chan error
	log     string // file
}

// postgresSettings are those a careful person would take for a small machine that writes a
// lot, with all durability on. None of them is there to hold the peer back.
var postgresSettings = map[string]string{
	"fsync":              "on",
	"synchronous_commit": "on",
	"full_page_writes":   "on",
	"listen_addresses":   "",
	"max_connections":    "120",
	"shared_buffers":     "512MB",
	"wal_buffers":        "16MB",
	// Checkpoints are rare enough not to fall into the runs.
	"max_wal_size":       "8GB",
	"checkpoint_timeout": "30min",
	// Nothing is replicated, so no more is written to the log than a restart needs.
	"wal_level":         "minimal",
	"max_wal_senders":   "0",
	"jit":               "off",
	"logging_collector": "off",
}

// startPostgres makes a cluster in dir and starts it. As root it runs as the user that
// Debian's package makes, or as nobody: PostgreSQL refuses to run as root.
func startPostgres(ctx context.Context, dir string) (_ *postgres, err error) {
	initdb, err := postgresProgram("initdb")
	if err != nil {
		return nil, err
	}
	server, err := postgresProgram("postgres")
	if err != nil {
		return nil, err
	}
	p := &postgres{ended: make(chan error, 1), log: filepath.Join(dir, "postgres.log")}
	if err := os.MkdirAll(dir, 0o711); err != nil {
		return nil, fmt.Errorf("couldn't make PostgreSQL's directory: %w", err)
	}
	// The path of a socket has 107 bytes at most, so it doesn't lie in dir.
	if p.socket, err = os.MkdirTemp("", "pg-"); err != nil {
		return nil, fmt.Errorf("couldn't make a directory for PostgreSQL's socket: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(p.socket))
		}
	}()
	as, err := unprivileged()
	if err != nil {
		return nil, err
	}
	p.user = as.Username
	credential, err := p.own(as, dir, p.socket)
	if err != nil {
		return nil, err
	}
	data := filepath.Join(dir, "data")
	run := func(program string, args ...string) *exec.Cmd {
		c := exec.Command(program, args...)
		c.Dir = dir
		// Its own group, so that an interrupt at the terminal reaches only the bench, which then stops it in order.
		c.SysProcAttr = &syscall.SysProcAttr{Credential: credential, Setpgid: true}
		return c
	}
	out, err := run(initdb, "-D", data, "-U", "bench", "--auth=trust", "--encoding=UTF8", "--locale=C", "--no-instructions").CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("couldn't make a PostgreSQL cluster in %s as user %s: %w\n%s", data, p.user, err, out)
	}
	args := []string{"-D", data, "-c", "unix_socket_directories=" + p.socket}
	for name, value := range postgresSettings {
		args = append(args, "-c", name+"="+value)
	}
	log, err := os.Create(p.log)
	if err != nil {
		return nil, err
	}
	p.process = run(server, args...)
	p.process.Stdout, p.process.Stderr = log, log
	err = errors.Join(p.process.Start(), log.Close())
	if err != nil {
		return nil, fmt.Errorf("couldn't start PostgreSQL: %w", err)
	}
	go func() { p.ended <- p.process.Wait() }()
	if err := p.ready(ctx); err != nil {
		return nil, errors.Join(err, p.stop())
	}
	return p, nil
}

// unprivileged is the user to run PostgreSQL as.
func unprivileged() (*user.User, error) {
	if os.Geteuid() != 0 {
		return user.Current()
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		u, err = user.Lookup("nobody")
	}
	if err != nil {
		return nil, fmt.Errorf("PostgreSQL won't run as root, and there is no user postgres or nobody: %w", err)
	}
	return u, nil
}

// own gives directories to the user; nil credentials: we are that user.
func (p *postgres) own(u *user.User, dirs ...string) (*syscall.Credential, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	if err != nil {
		return nil, err
	}
	gid, err := strconv.ParseUint(u.Gid, 10, 32)
	if err != nil {
		return nil, err
	}
	for _, dir := range dirs {
		if err := os.Chown(dir, int(uid), int(gid)); err != nil {
			return nil, fmt.Errorf("couldn't give a directory to user %s: %w", u.Username, err)
		}
	}
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, nil
}

// postgresProgram finds a program of the newest installed version: Debian keeps them out
// of the PATH.
func postgresProgram(name string) (string, error) {
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	if err != nil {
		return "", err
	}
	best, newest := "", -1
	for _, path := range found {
		version, err := strconv.Atoi(filepath.Base(filepath.Dir(filepath.Dir(path))))
		if err == nil && version > newest {
			best, newest = path, version
		}
	}
	if best != "" {
		return best, nil
	}
	path, err := exec.LookPath(name)
	if err != nil {
		return "", fmt.Errorf("the peer is PostgreSQL, and %s is neither below /usr/lib/postgresql nor on the PATH: install Debian's package postgresql, or leave the peer out with -peer=false", name)
	}
	return path, nil
}

func (p *postgres) url() string { return "host=" + p.socket + " user=bench dbname=postgres" }

func (p *postgres) ready(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	for {
		conn, err := pgx.Connect(ctx, p.url())
		if err == nil {
			err = conn.QueryRow(ctx, "SHOW server_version").Scan(&p.version)
			p.version, _, _ = strings.Cut(p.version, " ")
			return errors.Join(err, conn.Close(ctx))
		}
		select {
		case ended := <-p.ended:
			p.ended <- ended // for stop
			said, _ := os.ReadFile(p.log)
			return fmt.Errorf("PostgreSQL ended by itself: %w\n%s", errors.Join(ended, err), said)
		case <-ctx.Done():
			return fmt.Errorf("PostgreSQL did not become ready: %w", err)
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// stop ends it: connections are cut, what is under way is rolled back.
func (p *postgres) stop() error {
	err := p.process.Process.Signal(os.Interrupt)
	if errors.Is(err, os.ErrProcessDone) {
		err = nil
	}
	select {
	case <-p.ended:
	case <-time.After(20 * time.Second):
		err = errors.Join(err, errors.New("PostgreSQL did not stop within 20 s and was killed"), p.process.Process.Kill())
		<-p.ended
	}
	return errors.Join(err, os.RemoveAll(p.socket))
}
