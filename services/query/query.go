// Package query runs the reads of a service: one thing, or one page of a list, at a
// position that the caller may ask for.
package query

import (
	"context"
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/page"
)

// At runs a read at a position of at least min and gives the position it was at.
func At(ctx context.Context, node *eventstore.Node, min uint64, read func(*eventstore.Query) error) (uint64, error) {
	q, err := node.Query(ctx, eventstore.Position(min))
	if err != nil {
		return 0, err
	}
	defer q.Close()
	return uint64(q.Position()), read(q)
}

// Request is what every list's request has.
type Request interface {
	proto.Message
	GetMinPosition() uint64
	GetPageSize() int32
	GetPageToken() string
}

// Lists makes pages.
type Lists struct {
	Node   *eventstore.Node
	Tokens page.Token
}

// Finder gives the rows that follow after, at most limit, and where to go on.
type Finder[T any] func(q *eventstore.Query, after string, limit int) (rows []T, next string, err error)

// maxLooks bounds how often one page asks its finder, and leastAhead how few rows it is
// asked for to see whether there are more.
const (
	maxLooks   = 20
	leastAhead = 50
)

// fill asks find until a page is full or nothing is left. A finder that passes over much
// gives few rows or none, and still a place to go on at; next is empty where nothing
// follows there. Only where that took too many looks is it given without knowing.
func fill[T any](q *eventstore.Query, find Finder[T], after string, limit int) (rows []T, next string, err error) {
	for range maxLooks {
		full := len(rows) >= limit
		want := limit - len(rows)
		if full {
			want = max(limit, leastAhead)
		}
		some, more, err := find(q, after, want)
		switch {
		case err != nil:
			return nil, "", err
		case full && len(some) > 0:
			return rows, after, nil
		case !full:
			rows = append(rows, some...)
		}
		if after = more; more == "" {
			break
		}
	}
	return rows, after, nil
}

// List gives one page: what find gives, each as show shows it. It has a token only where
// there is more.
func List[T, M any](ctx context.Context, l Lists, req Request, find Finder[T], show func(*eventstore.Query, T) (M, error)) (shown []M, nextToken string, position uint64, err error) {
	rpc, _ := grpc.Method(ctx)
	scope := page.For(rpc, access.Caller(ctx).Member, req)
	after, err := l.Tokens.Decode(scope, req.GetPageToken())
	if err != nil {
		return nil, "", 0, err
	}
	var next string
	position, err = At(ctx, l.Node, req.GetMinPosition(), func(q *eventstore.Query) error {
		rows, more, err := fill(q, find, string(after), page.Size(req.GetPageSize()))
		if err != nil {
			return fmt.Errorf("couldn't list: %w", err)
		}
		next = more
		for _, row := range rows {
			m, err := show(q, row)
			if err != nil {
				return err
			}
			shown = append(shown, m)
		}
		return nil
	})
	if err != nil {
		return nil, "", 0, err
	}
	nextToken, err = l.Tokens.Encode(scope, []byte(next))
	return shown, nextToken, position, err
}
