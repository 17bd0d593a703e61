package faults_test

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/access"
)

const (
	coopID     = "two-ridges"
	divisionUg = 10_000      // a scale that shows 0.01 g
	pieceUg    = 900_000_000 // 900 g: more steps than any test makes
)

// person is one who acts, and the connection on which.
type person struct {
	id, member string
	key        ed25519.PrivateKey
	conn       *grpc.ClientConn // to the node that runs now
}

// coop is a co-operative with its people, as a test outside the node knows it.
type coop struct {
	dir       string
	verifier  string
	registrar *person
	auditor   *person
	miners    []*person
	cutters   []*person
	seconds   []*person // a second person of each cutter, where stones are checked
	jewellers []*person
	fieldID   string
	claims    []string // of the miners
	bench     []*workpiece
}

// workpiece is a piece that a cutter has in hand, and what it must weigh.
type workpiece struct {
	owner *person
	id    string
	part  string // its only part

	mu     sync.Mutex // held through a step: the next one needs its outcome
	massUg int64      // under mu
	stuck  bool       // under mu: the last step's outcome is not known
}

// foundCoop makes the folder of a new co-op with init.
func foundCoop(t testing.TB, binary, dir string, args ...string) *coop {
	t.Helper()
	var made struct {
		Person   string `json:"person"`
		Member   string `json:"member"`
		Key      string `json:"key"`
		Verifier string `json:"verifier_key"`
	}
	runOK(t, &made, binary, append([]string{"init", "--data", dir, "--id", coopID, "--name", "Two Ridges"}, args...)...)
	key := must(access.ReadKey(made.Key))(t)
	return &coop{dir: dir, verifier: made.Verifier, registrar: &person{id: made.Person, member: made.Member, key: key}}
}

func (c *coop) people() []*person {
	all := append([]*person{c.registrar}, c.miners...)
	all = append(all, c.cutters...)
	all = append(all, c.seconds...)
	all = append(all, c.jewellers...)
	if c.auditor != nil {
		all = append(all, c.auditor)
	}
	return all
}

// connect signs everybody in at a node.
func (c *coop) connect(t testing.TB, addr string) {
	t.Helper()
	for _, p := range c.people() {
		p.connect(t, addr)
	}
}

func (p *person) connect(t testing.TB, addr string) {
	t.Helper()
	if p.conn != nil {
		_ = p.conn.Close() // of a node that is gone
	}
	conn := must(access.Dial(addr, access.SignIn{Key: p.key, Person: p.id, Member: p.member, Coop: coopID},
		grpc.WithTransportCredentials(insecure.NewCredentials())))(t)
	t.Cleanup(func() { _ = conn.Close() })
	p.conn = conn
}

// at is the same person at another node.
func (p *person) at(t testing.TB, addr string) *person {
	t.Helper()
	other := &person{id: p.id, member: p.member, key: p.key}
	other.connect(t, addr)
	return other
}

func soon(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	t.Cleanup(cancel)
	return ctx
}

// admit adds a member with one person.
func (c *coop) admit(t testing.TB, name string, role typev1.Role, addr string) *person {
	t.Helper()
	client := coopv1.NewCoopServiceClient(c.registrar.conn)
	member := must(client.AdmitMember(soon(t), &coopv1.AdmitMemberRequest{RequestId: newID(), TradingName: name, Roles: []typev1.Role{role}}))(t)
	return c.add(t, member.GetMember().GetId(), role, addr)
}

// add adds a person to a member.
func (c *coop) add(t testing.TB, member string, role typev1.Role, addr string) *person {
	t.Helper()
	client := coopv1.NewCoopServiceClient(c.registrar.conn)
	p := &person{member: member, key: must(access.NewKey())(t)}
	added := must(client.AddPerson(soon(t), &coopv1.AddPersonRequest{
		RequestId: newID(), MemberId: p.member, Label: "at the desk", PublicKey: p.key.Public().(ed25519.PublicKey), Roles: []typev1.Role{role},
	}))(t)
	p.id = added.GetPerson().GetId()
	p.connect(t, addr)
	return p
}

// settle admits miners, cutters and an auditor, and records a field with a claim of
// each miner.
func (c *coop) settle(t testing.TB, addr string, miners, cutters int) {
	t.Helper()
	c.registrar.connect(t, addr)
	c.auditor = c.add(t, c.registrar.member, typev1.Role_ROLE_AUDITOR, addr)
	field := must(coopv1.NewCoopServiceClient(c.registrar.conn).RecordField(soon(t), &coopv1.RecordFieldRequest{
		RequestId: newID(), Name: "Long Gully", Country: "ironstone country",
	}))(t)
	c.fieldID = field.GetField().GetId()
	for i := range miners {
		m := c.admit(t, fmt.Sprintf("Shaft %d", i+1), typev1.Role_ROLE_MINER, addr)
		claim := must(minerv1.NewMinerServiceClient(m.conn).RecordClaim(soon(t), &minerv1.RecordClaimRequest{
			RequestId: newID(), FieldId: c.fieldID, Name: "The claim",
		}))(t)
		c.miners, c.claims = append(c.miners, m), append(c.claims, claim.GetClaim().GetId())
	}
	for i := range cutters {
		c.cutters = append(c.cutters, c.admit(t, fmt.Sprintf("Wheel %d", i+1), typev1.Role_ROLE_CUTTER, addr))
	}
}

// supply brings pieces onto the cutters' benches: listed, taken, handed over.
func (c *coop) supply(t testing.TB, pieces int) {
	t.Helper()
	each := (pieces + len(c.cutters) - 1) / len(c.cutters)
	for i, cutter := range c.cutters {
		m := c.miners[i%len(c.miners)]
		ctx, miner, buyer := soon(t), minerv1.NewMinerServiceClient(m.conn), cutterv1.NewCutterServiceClient(cutter.conn)
		listed := must(miner.PublishParcel(ctx, c.listing(i%len(c.miners), each)))(t).GetParcel()
		must(buyer.TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: newID(), ParcelId: listed.GetId()}))(t)
		must(miner.HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: newID(), ParcelId: listed.GetId(), Count: uint32(each), Total: listed.GetTotal()}))(t)
		must(buyer.ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: newID(), ParcelId: listed.GetId(), Count: uint32(each), Total: listed.GetTotal()}))(t)
		for i, line := range listed.GetLines() {
			c.bench = append(c.bench, &workpiece{owner: cutter, id: line.GetPieceId(), part: fmt.Sprint(i + 1), massUg: pieceUg})
		}
	}
}

// listing is a parcel that the first to pay gets.
func (c *coop) listing(miner, pieces int) *minerv1.PublishParcelRequest {
	req := &minerv1.PublishParcelRequest{
		RequestId: newID(), Label: "rough", Total: weighing(int64(pieces) * pieceUg), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		OpenAtAsking: true, Agreement: agreement(),
	}
	for i := range pieces {
		req.Pieces = append(req.Pieces, &minerv1.NewPiece{
			Label: fmt.Sprint(i + 1), Weighing: weighing(pieceUg), Size: &typev1.Size{LengthUm: 90_000, WidthUm: 60_000, DepthUm: 40_000},
			Kind: typev1.Kind_KIND_BOULDER, Count: 1, ClaimId: c.claims[miner],
		})
	}
	return req
}

// grind takes one division off a piece.
func grind(w *workpiece) *cutterv1.WorkPartRequest {
	return &cutterv1.WorkPartRequest{
		RequestId: newID(), PieceId: w.id, Part: w.part, Step: typev1.Step_STEP_GRIND, Reason: typev1.Reason_REASON_GROUND_OFF,
		PartsOut: []*cutterv1.PartOut{{Name: w.part, Weighing: weighing(w.massUg - divisionUg)}},
	}
}

func weighing(ug int64) *typev1.Weighing {
	return &typev1.Weighing{MassUg: ug, DivisionUg: divisionUg}
}

func agreement() *typev1.Agreement {
	aud := func(units int64) *money.Money { return &money.Money{CurrencyCode: "AUD", Units: units} }
	return &typev1.Agreement{
		Price:      aud(1900),
		ParcelLevy: &typev1.Levy{BasisPoints: 300, BorneBy: "miner"},
		SaleLevy:   &typev1.Levy{BasisPoints: 600},
		Tiers: []*typev1.Tier{
			{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{Party: "cutter", Target: &typev1.Recoup_Amount{Amount: aud(1900)}}}},
			{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: []*typev1.Ratio{{Party: "cutter", Weight: 4}, {Party: "miner", Weight: 3}}}}},
		},
	}
}

func newID() string { return fmt.Sprintf("r-%016x%016x", rand.Uint64(), rand.Uint64()) }

// newCoop is a co-op whose node runs, with everybody signed in.
func newCoop(t testing.TB, binary string, miners, cutters, pieces int) (*coop, *served) {
	t.Helper()
	c := foundCoop(t, binary, dataDir(newFolder(t)))
	s := serve(t, binary, c.dir, serveOptions{})
	c.settle(t, s.GRPC, miners, cutters)
	c.supply(t, pieces)
	return c, s
}

// restart starts the node again and signs everybody in.
func (c *coop) restart(t testing.TB, binary string, o serveOptions) *served {
	t.Helper()
	s := serve(t, binary, c.dir, o)
	c.connect(t, s.GRPC)
	return s
}

func storeDir(dir string) string { return filepath.Join(dir, "store") }
func logDir(dir string) string   { return filepath.Join(dir, "log") }
