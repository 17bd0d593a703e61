package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
	gmoney "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/measure"
)

// actor is a person with a key of their own, and their connection.
type actor struct {
	memberID string
	conn     *grpc.ClientConn
}

func (a *actor) miner() minerv1.MinerServiceClient { return minerv1.NewMinerServiceClient(a.conn) }

func (a *actor) cutter() cutterv1.CutterServiceClient { return cutterv1.NewCutterServiceClient(a.conn) }

func (a *actor) jeweller() jewellerv1.JewellerServiceClient {
	return jewellerv1.NewJewellerServiceClient(a.conn)
}
func (a *actor) coop() coopv1.CoopServiceClient { return coopv1.NewCoopServiceClient(a.conn) }
func (a *actor) node() coopv1.NodeServiceClient { return coopv1.NewNodeServiceClient(a.conn) }

// demo plays the scenario. What it tells and reports comes from the node's answers.
type demo struct {
	ctx    context.Context
	coopID string
	dial   func(access.SignIn) (*grpc.ClientConn, error)
	story  io.Writer
	begun  bool // a paragraph stands below the heading
	bar    *progress
	// verifier is the co-op's key as it was published when it was founded: chains are checked with nothing else.
	verifier note.Verifier
	// benchBegan is when the bench's clock stood at 0.
	benchBegan time.Time

	commands int
	people   map[string]*actor         // by their member's name, or their place at the desk
	names    map[string]string         // trading names by member
	called   map[string]string         // what people call a thing, by its id
	fields   map[string]string         // ids by name
	claims   map[string]string         // ids by name
	parcels  map[string]*typev1.Parcel // by label
	pieces   map[string]*typev1.Piece  // by parcel and label, as "P1-3"
	stones   map[string]*demoGoods     // by label
	forgery  forgery
	report   demoReport

	decisions map[string]string // ids by piece
	pictures  string            // the folder for drawings; empty: none are made
}

// demoGoods is a stone of the demo as the node knows it.
type demoGoods struct {
	*typev1.Stone
	parcel, cutter string
	photo          *typev1.Photo
	orderID        string
}

// demoCommands is about how many there are, for the progress bar.
const demoCommands = 320

// id names the next command. The names are the same in every demo, as all its data.
func (d *demo) id() string {
	d.commands++
	d.bar.set(int64(d.commands), int64(max(demoCommands, d.commands)))
	return fmt.Sprintf("demo-%03d", d.commands)
}

func (d *demo) close() error {
	d.bar.done()
	var errs []error
	for _, a := range d.people {
		errs = append(errs, a.conn.Close())
	}
	return errors.Join(errs...)
}

func (d *demo) play(made founded) error {
	for _, act := range []struct {
		title string
		play  func() error
	}{
		{"Who is here", func() error { return d.gather(made) }},
		{"Three parcels are listed", d.list},
		{"The parcels are looked at", d.view},
		{"Three deals", d.deal},
		{"Hand over, count and weigh", d.handOver},
		{"Before the saw", d.study},
		{"The bench", d.work},
		{"How the choice came out", d.cameOut},
		{"Where the mass went", d.account},
		{"Twenty-one stones", d.offer},
		{"The sales", d.sell},
		{"Who gets what, and why", d.divide},
		{"A payout, a return, another payout", d.payOut},
		{"The books", d.balance},
		{"Who sees what", d.look},
		{"Where a stone comes from", d.trace},
	} {
		if err := d.act(act.title, act.play); err != nil {
			return err
		}
	}
	return nil
}

// act plays one chapter.
func (d *demo) act(title string, play func() error) error {
	d.heading(title)
	if err := play(); err != nil {
		f := asFailure(err)
		f.Message = fmt.Sprintf("the demo stopped at “%s”: %s", title, d.plainly(f.Message))
		return f
	}
	return nil
}

func (d *demo) heading(title string) {
	if d.commands > 0 {
		say(d.story, "")
	}
	say(d.story, "%s", title)
	for range title {
		_, _ = io.WriteString(d.story, "-")
	}
	say(d.story, "")
	d.begun = false
}

// tell is a paragraph of the story. A failed write is kept by the session's writer.
func (d *demo) tell(format string, args ...any) {
	if d.begun {
		say(d.story, "")
	}
	d.begun = true
	_ = table.Paragraph(d.story, fmt.Sprintf(format, args...))
}

// print is a table of the story.
func (d *demo) print(t *table.Table) error {
	_, err := t.WriteTo(d.story)
	return err
}

// refused gives the words of a refusal that the story wants; anything else ends the demo.
func (d *demo) refused(err error) (string, error) {
	switch status.Code(err) {
	case codes.OK:
		return "", errors.New("a command went through that a rule must refuse")
	case codes.InvalidArgument, codes.FailedPrecondition, codes.Aborted, codes.PermissionDenied, codes.NotFound:
	default:
		return "", err
	}
	f := asFailure(err)
	if len(f.Problems) == 0 {
		return d.plainly(f.Message), nil
	}
	var all []string
	for _, p := range f.Problems {
		all = append(all, p.Message)
	}
	return d.plainly(strings.Join(all, "; ")), nil
}

// plainly gives things the names that people use, where the node's words have ids.
func (d *demo) plainly(words string) string {
	var pairs []string
	for _, id := range slices.Backward(slices.Sorted(maps.Keys(d.called))) { // a longer id before one that it begins with
		kind, _, _ := strings.Cut(d.called[id], " ")
		pairs = append(pairs, kind+" "+id, d.called[id], id, d.called[id])
	}
	return strings.NewReplacer(pairs...).Replace(words)
}

// builtIn is a value read from the demo's own data, which is there as the program is.
func builtIn[T any](v T, err error) T {
	if err != nil {
		panic(fmt.Sprintf("the demo's data: %v", err))
	}
	return v
}

func demoAmount(text string) *gmoney.Money { return builtIn(amount.Parse(text)) }

// demoScale and stoneScale are the divisions of the two scales in use.
const (
	demoScale  measure.Mass = 10_000 // 0.01 g
	stoneScale measure.Mass = 2_000  // 0.01 ct
)

func demoMass(text string, scale measure.Mass) *typev1.Weighing {
	return weighing(builtIn(measure.ParseMass(text)), scale)
}

// soon is a moment within any term that the demo needs.
func soon() string { return time.Now().AddDate(0, 0, 7).UTC().Format(time.RFC3339) }
