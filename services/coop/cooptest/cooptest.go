// Package cooptest founds a co-op on a node of its own, for tests of the services:
// the real services behind the real server, called as the persons that tests let in.
package cooptest

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	gmoney "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/eventstore/storetest"
	"seamshare.example/services"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/coop"
	"seamshare.example/services/personal"
	"seamshare.example/services/photo"
	"seamshare.example/services/server"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// House is a founded co-op that serves.
type House struct {
	Node      *eventstore.Node
	Signer    *merkle.Signer
	Desk      Person // the first registrar
	FieldID   string
	Keys      string // the folder of personal keys
	TokenKey  ed25519.PrivateKey
	server    *server.Server
	dial      []grpc.DialOption
	registrar coopv1.CoopServiceClient
}

// Person is one who is signed in.
type Person struct {
	access.SignIn
	Conn *grpc.ClientConn
}

// The clients of what a person may call.

// Access is the way in.
func (p Person) Access() coopv1.AccessServiceClient { return coopv1.NewAccessServiceClient(p.Conn) }

// Coop is the desk.
func (p Person) Coop() coopv1.CoopServiceClient { return coopv1.NewCoopServiceClient(p.Conn) }

// Node is the node.
func (p Person) Node() coopv1.NodeServiceClient { return coopv1.NewNodeServiceClient(p.Conn) }

// Miner is the miner's service.
func (p Person) Miner() minerv1.MinerServiceClient { return minerv1.NewMinerServiceClient(p.Conn) }

// Cutter is the cutter's service.
func (p Person) Cutter() cutterv1.CutterServiceClient { return cutterv1.NewCutterServiceClient(p.Conn) }

// Jeweller is the jeweller's service.
func (p Person) Jeweller() jewellerv1.JewellerServiceClient {
	return jewellerv1.NewJewellerServiceClient(p.Conn)
}

// Key makes a person's key.
func Key(t testing.TB) ed25519.PrivateKey {
	t.Helper()
	key, err := access.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// Public is a key's public half.
func Public(key ed25519.PrivateKey) ed25519.PublicKey {
	return ed25519.PublicKey(key[ed25519.PrivateKeySize-ed25519.PublicKeySize:])
}

// Empty opens a node whose log is empty. Its clock is now, unless it is given one.
func Empty(t testing.TB, clock func() time.Time) (*eventstore.Node, *merkle.Signer) {
	t.Helper()
	signer, err := merkle.CreateSigner(merkle.SignerFiles{Dir: t.TempDir()}, "log.example/"+storetest.Coop)
	if err != nil {
		t.Fatal(err)
	}
	node := storetest.OpenNode(t, eventstore.Config{
		Log: storetest.NewMemoryLog(false), Store: storetest.NewMemoryStore(), Signer: signer, Clock: clock,
		Codec: eventstore.NewCodec(stream.Events()...), Views: view.All(),
	})
	return node, signer
}

// Open founds a co-op on a node in memory and serves it until the test ends. dial is for
// the connections of all who sign in.
func Open(t testing.TB, clock func() time.Time, dial ...grpc.DialOption) *House {
	t.Helper()
	node, signer := Empty(t, clock)
	return OpenOn(t, node, signer, filepath.Join(t.TempDir(), "personal-keys"), dial...)
}

// OpenOn is Open on a node whose log is empty, with a folder for the keys of persons.
func OpenOn(t testing.TB, node *eventstore.Node, signer *merkle.Signer, keys string, dial ...grpc.DialOption) *House {
	t.Helper()
	h := &House{Node: node, Signer: signer, Keys: keys, dial: dial, TokenKey: Key(t)}
	key := Key(t)
	made, err := coop.Found(t.Context(), h.Node, coop.Founding{
		CoopID: h.Node.Coop(), Name: "Two Fields Opal Co-operative", TimeZone: "Australia/Brisbane",
		RegistrarLabel: "desk 0", RegistrarKey: Public(key),
	})
	if err != nil {
		t.Fatal(err)
	}
	all, err := services.New(h.Node, h.TokenKey)
	if err != nil {
		t.Fatal(err)
	}
	if all.Personal, err = personal.Open(h.Keys); err != nil {
		t.Fatal(err)
	}
	if all.Photos, err = photo.Open(filepath.Join(t.TempDir(), "photos")); err != nil {
		t.Fatal(err)
	}
	h.server, err = server.New(server.Config{
		Register: all.Register, Guard: all.Guard, Trouble: h.Node.Trouble, Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelDebug})),
		Limits: server.Limits{Member: server.Unlimited, Address: server.Unlimited},
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		h.server.Stop(ctx)
	})
	h.Desk = h.SignIn(t, access.SignIn{Key: key, Person: made.PersonID, Member: made.MemberID, Coop: h.Node.Coop()})
	h.registrar = h.Desk.Coop()
	field, err := h.registrar.RecordField(t.Context(), &coopv1.RecordFieldRequest{RequestId: command.NewID(), Name: "Ashbarrel Rise", Country: "ironstone country"})
	if err != nil {
		t.Fatal(err)
	}
	h.FieldID = field.GetField().GetId()
	return h
}

// SignIn connects as somebody.
func (h *House) SignIn(t testing.TB, as access.SignIn) Person {
	t.Helper()
	conn, err := h.server.SignedIn(as, h.dial...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return Person{SignIn: as, Conn: conn}
}

// Nobody connects without signing in.
func (h *House) Nobody(t testing.TB) *grpc.ClientConn {
	t.Helper()
	conn, err := h.server.InProcess()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// Join admits a member with one person, who has all its roles.
func (h *House) Join(t testing.TB, name string, roles ...typev1.Role) Person {
	t.Helper()
	admitted, err := h.registrar.AdmitMember(t.Context(), &coopv1.AdmitMemberRequest{RequestId: command.NewID(), TradingName: name, Roles: roles})
	if err != nil {
		t.Fatal(err)
	}
	return h.Add(t, admitted.GetMember().GetId(), roles...)
}

// Add adds a person to a member.
func (h *House) Add(t testing.TB, memberID string, roles ...typev1.Role) Person {
	t.Helper()
	key := Key(t)
	added, err := h.registrar.AddPerson(t.Context(), &coopv1.AddPersonRequest{
		RequestId: command.NewID(), MemberId: memberID, Label: "desk", PublicKey: Public(key), Roles: roles,
	})
	if err != nil {
		t.Fatal(err)
	}
	return h.SignIn(t, access.SignIn{Key: key, Person: added.GetPerson().GetId(), Member: memberID, Coop: h.Node.Coop()})
}

// AUD is an amount in minor units.
func AUD(minor int64) *gmoney.Money {
	return &gmoney.Money{CurrencyCode: "AUD", Units: minor / 100, Nanos: int32(minor%100) * 10_000_000}
}

// Grams is a mass from a scale of 0.01 g.
func Grams(ug int64) *typev1.Weighing { return &typev1.Weighing{MassUg: ug, DivisionUg: 10_000} }

// RisingShare is the demo's agreement on its first parcel: the cutter recoups price
// and hours, then the miner joins.
func RisingShare(price int64) *typev1.Agreement {
	recoup := func(party string, minor int64) *typev1.Tier {
		return &typev1.Tier{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{Party: party, Target: &typev1.Recoup_Amount{Amount: AUD(minor)}}}}
	}
	split := func(ceiling *gmoney.Money, cutter, miner uint32) *typev1.Tier {
		return &typev1.Tier{Form: &typev1.Tier_Split{Split: &typev1.Split{Ceiling: ceiling, Ratios: []*typev1.Ratio{{Party: "cutter", Weight: cutter}, {Party: "miner", Weight: miner}}}}}
	}
	costs := &typev1.Tier{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{
		Party: "coop", Target: &typev1.Recoup_Costs{Costs: &typev1.CostKinds{Kinds: []string{"freight"}}},
	}}}
	return &typev1.Agreement{
		Price: AUD(price), ParcelLevy: &typev1.Levy{BasisPoints: 300, BorneBy: "miner"}, SaleLevy: &typev1.Levy{BasisPoints: 600},
		CostKinds: []string{"freight"},
		Tiers:     []*typev1.Tier{costs, recoup("cutter", price), recoup("cutter", 63000), split(AUD(75000), 2, 1), split(nil, 4, 3)},
	}
}

// Parcel is a parcel that was handed over, and its stones, which are on sale.
type Parcel struct {
	ID     string
	Stones []*typev1.Stone
}

// Cut brings a parcel from the listing to stones on sale, one for each price.
func (h *House) Cut(t testing.TB, miner, cutter Person, prices ...int64) Parcel {
	t.Helper()
	return h.CutUnder(t, miner, cutter, RisingShare(160000), prices...)
}

// CutUnder is Cut under an agreement.
func (h *House) CutUnder(t testing.TB, miner, cutter Person, agreement *typev1.Agreement, prices ...int64) Parcel {
	t.Helper()
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	claim, err := miner.Miner().RecordClaim(ctx, &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: h.FieldID, Name: "Claim 4 " + command.NewID()})
	must(err)
	listing := &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: agreement,
		Total: Grams(int64(len(prices)) * 20_000_000),
	}
	for i := range prices {
		listing.Pieces = append(listing.Pieces, &minerv1.NewPiece{
			Label: fmt.Sprint(i + 1), Weighing: Grams(20_000_000), Size: &typev1.Size{LengthUm: 40_000, WidthUm: 30_000, DepthUm: 12_000},
			Kind: typev1.Kind_KIND_BOULDER, ClaimId: claim.GetClaim().GetId(),
		})
	}
	listed, err := miner.Miner().PublishParcel(ctx, listing)
	must(err)
	p := Parcel{ID: listed.GetParcel().GetId()}
	_, err = cutter.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: p.ID})
	must(err)
	count := uint32(len(prices))
	_, err = miner.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: p.ID, Count: count, Total: listing.GetTotal()})
	must(err)
	_, err = cutter.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: p.ID, Count: count, Total: listing.GetTotal()})
	must(err)
	second := h.Add(t, cutter.Member, typev1.Role_ROLE_CUTTER)
	outlines := []typev1.Outline{typev1.Outline_OUTLINE_OVAL, typev1.Outline_OUTLINE_FREEFORM, typev1.Outline_OUTLINE_ROUND}
	for i, l := range listed.GetParcel().GetLines() {
		label := fmt.Sprint(i + 1)
		_, err = cutter.Cutter().WorkPart(ctx, &cutterv1.WorkPartRequest{
			RequestId: command.NewID(), PieceId: l.GetPieceId(), Part: label, Step: typev1.Step_STEP_SAW, Reason: typev1.Reason_REASON_KERF, How: "in the section",
			PartsOut: []*cutterv1.PartOut{{Name: label + "A", Weighing: Grams(9_000_000)}, {Name: label + "B", Weighing: Grams(10_000_000)}},
		})
		must(err)
		finished, err := cutter.Cutter().FinishStone(ctx, &cutterv1.FinishStoneRequest{
			RequestId: command.NewID(), PieceId: l.GetPieceId(), Part: label + "A", Label: "stone " + label, Weighing: &typev1.Weighing{MassUg: 608_000, DivisionUg: 2_000},
			Size: &typev1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000}, Outline: outlines[i%len(outlines)],
			Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Hydrophane: typev1.Hydrophane_HYDROPHANE_NO, Composite: typev1.Composite_COMPOSITE_NONE,
			WhyEarly: "the test doesn't wait",
		})
		must(err)
		h.Check(t, cutter, second, finished.GetStone())
		sale, err := cutter.Cutter().PutStoneOnSale(ctx, &cutterv1.PutStoneOnSaleRequest{RequestId: command.NewID(), StoneId: finished.GetStone().GetId(), Price: AUD(prices[i])})
		must(err)
		p.Stones = append(p.Stones, sale.GetStone())
	}
	return p
}

// Check is a stone's final check, and its confirmation by a second person.
func (h *House) Check(t testing.TB, cutter, second Person, stone *typev1.Stone) {
	t.Helper()
	if _, err := cutter.Cutter().CheckStone(t.Context(), &cutterv1.CheckStoneRequest{
		RequestId: command.NewID(), StoneId: stone.GetId(), BackFlat: true, WallEven: true, BevelClears: true, CornerRadiusUm: 2_000, Candled: true,
		Weighing: stone.GetWeighing(), Size: stone.GetSize(), Photo: Photo(),
	}); err != nil {
		t.Fatal(err)
	}
	if _, err := second.Cutter().ConfirmStone(t.Context(), &cutterv1.ConfirmStoneRequest{RequestId: command.NewID(), StoneId: stone.GetId()}); err != nil {
		t.Fatal(err)
	}
}

// Photo is a picture's name; nothing looks at the picture.
func Photo() *typev1.Photo {
	return &typev1.Photo{Sha256: make([]byte, 32), MediaType: "image/jpeg", Light: "daylight, overcast"}
}

// Order buys stones at the prices that are asked.
func (h *House) Order(t testing.TB, jeweller Person, stones ...*typev1.Stone) *jewellerv1.Order {
	t.Helper()
	placed, err := jeweller.Jeweller().PlaceOrder(t.Context(), OrderOf(stones...))
	if err != nil {
		t.Fatal(err)
	}
	return placed.GetOrder()
}

// OrderOf is a request for stones at the prices that are asked.
func OrderOf(stones ...*typev1.Stone) *jewellerv1.PlaceOrderRequest {
	req := &jewellerv1.PlaceOrderRequest{RequestId: command.NewID()}
	for _, s := range stones {
		req.Items = append(req.Items, &jewellerv1.OrderItem{StoneId: s.GetId(), Price: s.GetPrice()})
	}
	return req
}
