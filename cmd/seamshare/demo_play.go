package main

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/access"
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

// demo plays the parcel. What it tells and reports comes from the node's answers.
type demo struct {
	ctx    context.Context
	coopID string
	dial   func(access.SignIn) (*grpc.ClientConn, error)
	story  io.Writer
	begun  bool // a paragraph stands below the heading
	bar    *progress
	// verifier is the co-op's key as it was published when it was founded: chains are checked with nothing else.
	verifier note.Verifier

	commands int
	actors   map[string]*actor
	names    map[string]string // trading names by member
	claims   map[string]string // ids by name
	parcelID string
	pieces   map[string]string // ids by label
	stones   map[string]*soldStone
	report   demoReport
}

// soldStone is a stone of the demo as the node knows it.
type soldStone struct {
	stone   *typev1.Stone
	orderID string
}

// demoCommands is about how many there are, for the progress bar.
const demoCommands = 95

// id names the next command. The names are the same in every demo, as all its data.
func (d *demo) id() string {
	d.commands++
	d.bar.set(int64(d.commands), int64(max(demoCommands, d.commands)))
	return fmt.Sprintf("demo-%03d", d.commands)
}

func (d *demo) close() error {
	d.bar.done()
	var errs []error
	for _, a := range d.actors {
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
		{"The parcel", d.list},
		{"The deal", d.haggle},
		{"The bench", d.work},
		{"The sales", d.sell},
		{"Who gets what, and why", d.divide},
		{"Where a stone comes from", d.trace},
		{"The whole of it", d.conclude},
	} {
		d.heading(act.title)
		if err := act.play(); err != nil {
			f := asFailure(err)
			f.Message = fmt.Sprintf("the demo stopped at “%s”: %s", act.title, f.Message)
			return f
		}
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

// refused gives the words of a refusal that the story wants, with the names that people use for ids; anything else ends
// the demo.
func (d *demo) refused(err error) (string, error) {
	switch status.Code(err) {
	case codes.OK:
		return "", errors.New("a command went through that a rule must refuse")
	case codes.InvalidArgument, codes.FailedPrecondition, codes.Aborted:
	default:
		return "", err
	}
	f := asFailure(err)
	why := f.Message
	if len(f.Problems) > 0 {
		var all []string
		for _, p := range f.Problems {
			all = append(all, p.Message)
		}
		why = strings.Join(all, "; ")
	}
	names := []string{d.parcelID, "parcel P1"}
	for label, s := range d.stones {
		names = append(names, s.stone.GetId(), "stone "+label)
	}
	if d.parcelID == "" {
		names = names[2:]
	}
	return strings.NewReplacer(names...).Replace(why), nil
}

// gather records fields, members, persons and claims.
func (d *demo) gather(made founded) error {
	key, err := access.ReadKey(made.Key)
	if err != nil {
		return err
	}
	registrar, err := d.enter(made.Member, made.Registrar, key)
	if err != nil {
		return err
	}
	d.actors["registrar"] = registrar
	fields := map[string]string{}
	for _, f := range []struct{ name, country string }{
		{"Ashbarrel Rise", "ironstone country, boulder and matrix"}, {"Sparrowpan Flat", "clay country, seam opal"},
	} {
		a, err := registrar.coop().RecordField(d.ctx, &coopv1.RecordFieldRequest{RequestId: d.id(), Name: f.name, Country: f.country})
		if err != nil {
			return err
		}
		fields[f.name] = a.GetField().GetId()
	}
	for _, m := range []struct {
		name  string
		roles []typev1.Role
	}{
		{demoMiner, []typev1.Role{typev1.Role_ROLE_MINER}},
		{demoCutter, []typev1.Role{typev1.Role_ROLE_CUTTER}},
		{demoRival, []typev1.Role{typev1.Role_ROLE_CUTTER}},
		{demoJeweller, []typev1.Role{typev1.Role_ROLE_JEWELLER}},
		{demoSecond, []typev1.Role{typev1.Role_ROLE_JEWELLER}},
		{demoDesk, []typev1.Role{typev1.Role_ROLE_BOOKKEEPER, typev1.Role_ROLE_AUDITOR}},
	} {
		if err := d.admit(m.name, m.roles); err != nil {
			return err
		}
	}
	d.claims = map[string]string{}
	for _, name := range []string{"Claim 4", "Claim 11"} {
		a, err := d.actors[demoMiner].miner().RecordClaim(d.ctx, &minerv1.RecordClaimRequest{RequestId: d.id(), FieldId: fields["Ashbarrel Rise"], Name: name})
		if err != nil {
			return err
		}
		d.claims[name] = a.GetClaim().GetId()
	}
	d.tell("All of this is invented. %s has two fields, Ashbarrel Rise (ironstone country) and Sparrowpan Flat (clay country). "+
		"%s works Claim 4 and Claim 11 at Ashbarrel Rise; %s and %s cut; %s and %s set stones; the co-op's desk keeps the books. "+
		"Each acts with a key of their own.", demoCoop, demoMiner, demoCutter, demoRival, demoJeweller, demoSecond)
	return nil
}

// admit lets a member trade, with one person who has all its roles.
func (d *demo) admit(name string, roles []typev1.Role) error {
	registrar := d.actors["registrar"].coop()
	m, err := registrar.AdmitMember(d.ctx, &coopv1.AdmitMemberRequest{RequestId: d.id(), TradingName: name, Roles: roles})
	if err != nil {
		return err
	}
	key, err := access.NewKey()
	if err != nil {
		return err
	}
	p, err := registrar.AddPerson(d.ctx, &coopv1.AddPersonRequest{
		RequestId: d.id(), MemberId: m.GetMember().GetId(), Label: "desk 1", PublicKey: key.Public().(ed25519.PublicKey), Roles: roles,
	})
	if err != nil {
		return err
	}
	d.names[m.GetMember().GetId()] = name
	d.actors[name], err = d.enter(m.GetMember().GetId(), p.GetPerson().GetId(), key)
	return err
}

func (d *demo) enter(memberID, personID string, key ed25519.PrivateKey) (*actor, error) {
	conn, err := d.dial(access.SignIn{Key: key, Person: personID, Member: memberID, Coop: d.coopID})
	if err != nil {
		return nil, err
	}
	return &actor{memberID, conn}, nil
}

// offerEnds is far enough for the demo.
func offerEnds() string { return time.Now().AddDate(0, 0, 7).UTC().Format(time.RFC3339) }
