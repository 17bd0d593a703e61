package main

import (
	"context"
	"crypto/sha256"
	_ "embed"
	"errors"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/services/command"
)

// The peer does the same command over the same pieces in PostgreSQL, in two forms. Both
// hold the same rules, remember the request, and are durable before they answer. Where
// there was a choice, the peer got what makes it faster; see schema.sql.

//go:embed schema.sql
var schema string

//go:embed statement.sql
var statement string

// peer is PostgreSQL with its own copy of the trade.
type peer struct {
	*postgres
	trade    *trade
	masses   []int64 // what is left of each piece there
	index    map[*workpiece]int
	answered int // commands, over all runs
}

func newPeer(ctx context.Context, dir string, t *trade) (_ *peer, err error) {
	p := &peer{trade: t, masses: make([]int64, len(t.pieces)), index: make(map[*workpiece]int, len(t.pieces))}
	if p.postgres, err = startPostgres(ctx, dir); err != nil {
		return nil, err
	}
	if err := p.fill(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("couldn't fill PostgreSQL: %w", err), p.stop())
	}
	return p, nil
}

// fill puts the people, parcels and pieces in.
func (p *peer) fill(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, p.url())
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close(ctx) }()
	if _, err := conn.Exec(ctx, schema); err != nil {
		return err
	}
	_, err = conn.Exec(ctx, "INSERT INTO person VALUES ($1, $2, $3)", p.trade.person, p.trade.cutter, []int32{int32(memberv1.Role_ROLE_CUTTER)})
	if err != nil {
		return err
	}
	_, err = conn.CopyFrom(ctx, pgx.Identifier{"parcel"}, []string{"id", "buyer_id", "handed_over"},
		pgx.CopyFromSlice(len(p.trade.parcels), func(i int) ([]any, error) {
			return []any{p.trade.parcels[i], p.trade.cutter, true}, nil
		}))
	if err != nil {
		return err
	}
	_, err = conn.CopyFrom(ctx, pgx.Identifier{"piece"}, []string{"id", "parcel_id", "version", "part", "fate", "mass_ug", "loss_ug"},
		pgx.CopyFromSlice(len(p.trade.pieces), func(i int) ([]any, error) {
			w := &p.trade.pieces[i]
			p.masses[i], p.index[w] = pieceUg, i
			return []any{w.id, w.parcel, 1, w.part, 1, int64(pieceUg), 0}, nil
		}))
	if err != nil {
		return err
	}
	_, err = conn.Exec(ctx, "VACUUM ANALYZE")
	return errors.Join(err)
}

// records is how many commands PostgreSQL says that it keeps.
func (p *peer) records(ctx context.Context) (n int, err error) {
	conn, err := pgx.Connect(ctx, p.url())
	if err != nil {
		return 0, err
	}
	err = conn.QueryRow(ctx, "SELECT count(*) FROM record JOIN request USING (position)").Scan(&n)
	return n, errors.Join(err, conn.Close(ctx))
}

// check holds what PostgreSQL keeps against what it answered.
func (p *peer) check(ctx context.Context) error {
	kept, err := p.records(ctx)
	if err == nil && kept != p.answered {
		err = fmt.Errorf("PostgreSQL answered %d commands and keeps %d", p.answered, kept)
	}
	return err
}

// peerRows is what one command leaves in PostgreSQL: record, request, piece.
const peerRows = 3

var forms = map[string]form{peerTransaction: transaction, peerStatement: oneStatement}

// form is one way to do the command.
type form func(ctx context.Context, pool *pgxpool.Pool, s step) error

// step is a command as both forms take it.
type step struct {
	workpiece       *workpiece
	in, out         int64
	person, member  string
	request         string
	fingerprint     []byte
	public, private []byte
}

// calls makes the callers of a form. Each run has a pool of its own, all of whose
// connections are open before it begins.
func (p *peer) calls(ctx context.Context, how form, callers, connections int) (call do, done func(), err error) {
	cfg, err := pgxpool.ParseConfig(p.url())
	if err != nil {
		return nil, nil, err
	}
	cfg.MaxConns, cfg.MinConns = int32(connections), int32(connections)
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, nil, fmt.Errorf("couldn't connect to PostgreSQL: %w", err)
	}
	if err := openAll(ctx, pool, connections); err != nil {
		pool.Close()
		return nil, nil, err
	}
	counts := make([]int, callers)
	return func(ctx context.Context, caller int) error {
		w := p.trade.piece(caller, callers, counts[caller])
		counts[caller]++
		left := &p.masses[p.index[w]]
		s := step{workpiece: w, in: *left, out: *left - stepUg, person: p.trade.person, member: p.trade.cutter, request: command.NewID()}
		var err error
		if s.public, s.private, err = p.trade.worked(w, s.in, s.out); err != nil {
			return err
		}
		sum := sha256.Sum256(s.public)
		s.fingerprint = sum[:]
		if err := how(ctx, pool, s); err != nil {
			return fmt.Errorf("couldn't work piece %s in PostgreSQL: %w", w.id, err)
		}
		*left = s.out
		return nil
	}, pool.Close, nil
}

func openAll(ctx context.Context, pool *pgxpool.Pool, connections int) error {
	held := make([]*pgxpool.Conn, 0, connections)
	defer func() {
		for _, c := range held {
			c.Release()
		}
	}()
	for range connections {
		c, err := pool.Acquire(ctx)
		if err != nil {
			return fmt.Errorf("couldn't open %d connections to PostgreSQL: %w", connections, err)
		}
		held = append(held, c)
	}
	return nil
}

var errRefused = errors.New("a rule said no, or the request was done before")

// transaction is the command as it is mostly written: read and lock, check here, write,
// commit. Statements are prepared, and the read asks for all it needs at once.
func transaction(ctx context.Context, pool *pgxpool.Pool, s step) error {
	return pgx.BeginFunc(ctx, pool, func(tx pgx.Tx) error {
		var (
			version, mass int64
			part, member  string
			buyer         string
			fate          int
			handed, done  bool
			roles         []int32
		)
		err := tx.QueryRow(ctx, `
			SELECT piece.version, piece.mass_ug, piece.part, piece.fate, parcel.buyer_id, parcel.handed_over, person.member_id, person.roles,
			  EXISTS (SELECT FROM request WHERE member_id = $2 AND request.id = $3)
			FROM piece JOIN parcel ON parcel.id = piece.parcel_id JOIN person ON person.id = $4
			WHERE piece.id = $1
			FOR UPDATE OF piece`, s.workpiece.id, s.member, s.request, s.person).
			Scan(&version, &mass, &part, &fate, &buyer, &handed, &member, &roles, &done)
		if err != nil {
			return err
		}
		if done || part != s.workpiece.part || fate != 1 || mass != s.in || s.out > s.in || !handed || buyer != s.member ||
			member != s.member || !slices.Contains(roles, int32(memberv1.Role_ROLE_CUTTER)) {
			return errRefused
		}
		var position int64
		err = tx.QueryRow(ctx, "INSERT INTO record (piece_id, version, type, public, private) VALUES ($1, $2, 302, $3, $4) RETURNING position",
			s.workpiece.id, version+1, s.public, s.private).Scan(&position)
		if err != nil {
			return err
		}
		_, err = tx.Exec(ctx, "INSERT INTO request (member_id, id, person_id, rpc, fingerprint, position) VALUES ($1, $2, $3, $4, $5, $6)",
			s.member, s.request, s.person, cutterv1.CutterService_WorkPart_FullMethodName, s.fingerprint, position)
		if err != nil {
			return err
		}
		_, err = tx.Exec(ctx, "UPDATE piece SET version = $2, mass_ug = $3, loss_ug = loss_ug + $4 WHERE id = $1",
			s.workpiece.id, version+1, s.out, s.in-s.out)
		return err
	})
}

// oneStatement is the command in its best form: one prepared statement, one round trip.
func oneStatement(ctx context.Context, pool *pgxpool.Pool, s step) error {
	var position int64
	err := pool.QueryRow(ctx, statement, s.workpiece.id, s.workpiece.part, s.in, s.out, s.member, s.person, s.request,
		cutterv1.CutterService_WorkPart_FullMethodName, s.fingerprint, s.public, s.private).Scan(&position)
	if errors.Is(err, pgx.ErrNoRows) {
		return errRefused
	}
	return err
}
