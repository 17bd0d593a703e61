package faults_test

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/png"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/jeweller/racetest"
)

const (
	triesARound  = 8 // of each jeweller
	longestHold  = 800 * time.Millisecond
	longestPause = 100 * time.Millisecond
)

// shopper is a jeweller who races for stones with the others.
type shopper struct {
	*racetest.Jeweller
	who *person
	// insists: what had no answer is sent again until it has one. The others never
	// learn what came of it.
	insists bool
	open    *attempt // had no answer and is sent again
}

type attempt struct {
	racetest.Attempt
	call time.Duration
}

// shop is the stones for which they race, and all that is known of the race.
type shop struct {
	coop     *coop
	stones   []string
	past     *racetest.History
	shoppers []*shopper
	down     atomic.Bool // the node is about to be killed: nobody begins anything
	answered chan struct{}
	// unanswered counts the calls that had no answer.
	unanswered atomic.Int64

	mu   sync.Mutex
	ends []end // under mu: of holds, which the history doesn't know of yet
}

// end is when a hold in a group ends.
type end struct {
	group int
	at    time.Time
}

// Two hundred jewellers take, hold and let go of overlapping stones of three hundred,
// holds run out, and the program is killed with their calls under way. Half of those who
// get no answer repeat the request when it is back, the others never do. The history
// must be one that could have happened one call after the other: no stone twice, no half
// pair, nothing confirmed that is gone.
func TestJewellersAndKills(t *testing.T) {
	binary, choices := must(binaries.plain())(t), newRand(t)
	c, node := newCoop(t, binary, 2, 5, racetest.Groups*racetest.GroupSize)
	s := newShop(t, c, node.GRPC, choices.Uint64())
	for range racedKills {
		s.race(t, 100+choices.IntN(racetest.Jewellers*triesARound/2), node)
		node = c.restart(t, binary, serveOptions{})
	}
	s.race(t, 0, node)
	t.Logf("%d kills, %d calls had no answer", racedKills, s.unanswered.Load())
	if s.unanswered.Load() == 0 {
		t.Error("every call was answered before a kill")
	}
	clients := make([]jewellerv1.JewellerServiceClient, len(s.shoppers))
	for i, one := range s.shoppers {
		clients[i] = one.client()
	}
	if err := s.past.Look(soon(t), clients, s.stones); err != nil {
		t.Fatal(err)
	}
	node.stop(t)
	verify(t, binary, c.dir)
	s.past.Check(t)
	s.past.CheckForged(t)
}

func (s *shopper) client() jewellerv1.JewellerServiceClient {
	return jewellerv1.NewJewellerServiceClient(s.who.conn)
}

// newShop finishes a stone of every piece on the benches, has it checked and puts it on
// sale, the first two of each group as a pair; and admits the jewellers.
func newShop(t testing.TB, c *coop, addr string, seed uint64) *shop {
	t.Helper()
	s := &shop{coop: c, past: racetest.NewHistory()}
	second, pictures := map[string]*person{}, map[string]*typev1.Photo{}
	for _, cutter := range c.cutters {
		pictures[cutter.member] = picture(t, cutter)
		second[cutter.member] = c.add(t, cutter.member, typev1.Role_ROLE_CUTTER, addr)
		c.seconds = append(c.seconds, second[cutter.member])
	}
	ctx := soon(t)
	var mu sync.Mutex
	stones := map[*workpiece]string{}
	together(16, c.bench, func(w *workpiece) {
		id, err := finish(ctx, w, second[w.owner.member], pictures[w.owner.member])
		if err != nil {
			t.Errorf("piece %s: %v", w.id, err)
		}
		mu.Lock()
		defer mu.Unlock()
		stones[w] = id
	})
	for i, w := range c.bench {
		s.stones = append(s.stones, stones[w])
		if i%racetest.GroupSize != 1 {
			continue
		}
		must(cutterv1.NewCutterServiceClient(w.owner.conn).OfferSet(ctx, &cutterv1.OfferSetRequest{
			RequestId: newID(), Kind: typev1.SetKind_SET_KIND_PAIR,
			Stones: []*cutterv1.SetStone{{StoneId: s.stones[i-1], Price: racetest.Price()}, {StoneId: s.stones[i], Price: racetest.Price()}},
		}))(t)
	}
	for i := range racetest.Jewellers {
		p := c.admit(t, fmt.Sprintf("Window %d", i+1), typev1.Role_ROLE_JEWELLER, addr)
		c.jewellers = append(c.jewellers, p)
		s.shoppers = append(s.shoppers, &shopper{Jeweller: racetest.NewJeweller(seed, i), who: p, insists: i%2 == 0})
	}
	return s
}

// picture adds a small picture.
func picture(t testing.TB, p *person) *typev1.Photo {
	t.Helper()
	var file bytes.Buffer
	if err := png.Encode(&file, image.NewGray(image.Rect(0, 0, 8, 6))); err != nil {
		t.Fatal(err)
	}
	kept := must(coopv1.NewPhotoServiceClient(p.conn).AddPhoto(soon(t), &coopv1.AddPhotoRequest{Upload: "a-picture", Chunk: file.Bytes(), Last: true}))(t)
	return &typev1.Photo{Sha256: kept.GetSha256(), MediaType: kept.GetMediaType(), Light: "daylight, overcast"}
}

// finish makes a piece a stone on sale.
func finish(ctx context.Context, w *workpiece, second *person, picture *typev1.Photo) (id string, err error) {
	cutter := cutterv1.NewCutterServiceClient(w.owner.conn)
	done, err := cutter.FinishStone(ctx, &cutterv1.FinishStoneRequest{
		RequestId: newID(), PieceId: w.id, Part: w.part, Label: "stone " + w.part, Weighing: &typev1.Weighing{MassUg: 608_000, DivisionUg: 2_000},
		Size: &typev1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000}, Outline: typev1.Outline_OUTLINE_OVAL,
		Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Hydrophane: typev1.Hydrophane_HYDROPHANE_NO, Composite: typev1.Composite_COMPOSITE_NONE,
		WhyEarly: "the test doesn't wait",
	})
	if err != nil {
		return "", err
	}
	id = done.GetStone().GetId()
	if _, err = cutter.CheckStone(ctx, &cutterv1.CheckStoneRequest{
		RequestId: newID(), StoneId: id, BackFlat: true, WallEven: true, BevelClears: true, CornerRadiusUm: 2_000, Candled: true,
		Weighing: done.GetStone().GetWeighing(), Size: done.GetStone().GetSize(),
		Photo: picture,
	}); err != nil {
		return "", err
	}
	if _, err = cutterv1.NewCutterServiceClient(second.conn).ConfirmStone(ctx, &cutterv1.ConfirmStoneRequest{RequestId: newID(), StoneId: id}); err != nil {
		return "", err
	}
	_, err = cutter.PutStoneOnSale(ctx, &cutterv1.PutStoneOnSaleRequest{RequestId: newID(), StoneId: id, Price: racetest.Price()})
	return id, err
}

// race lets everybody try. The node is killed after some answers; 0: it isn't.
func (s *shop) race(t testing.TB, answers int, node *served) {
	t.Helper()
	s.down.Store(false)
	s.answered = make(chan struct{})
	over, watched := make(chan struct{}), make(chan struct{})
	go func() {
		s.watch(t, over)
		close(watched)
	}()
	var all sync.WaitGroup
	for _, one := range s.shoppers {
		all.Go(func() { s.buy(t, one) })
	}
	go func() {
		all.Wait()
		close(s.answered)
	}()
	n := 0
	for range s.answered {
		if n++; n == answers {
			s.down.Store(true)
			node.kill(t)
		}
	}
	close(over)
	<-watched
	if answers > n {
		t.Fatalf("only %d calls had an answer, the node was to be killed after %d", n, answers)
	}
	if t.Failed() {
		t.FailNow()
	}
}

// buy is a jeweller's round: what has no answer yet, then new tries.
func (s *shop) buy(t testing.TB, one *shopper) {
	if one.open != nil {
		if !s.try(t, one, *one.open) {
			return
		}
		one.open = nil
	}
	for range triesARound {
		time.Sleep(one.Pause(longestPause)) // jewellers think, too
		if s.down.Load() {
			return
		}
		a := attempt{one.Next(time.Now(), longestHold), s.past.Moment(time.Now())}
		if !s.try(t, one, a) {
			if one.insists {
				one.open = &a
			} else {
				s.note(a, racetest.Result{Outcome: racetest.Unknown})
			}
			return
		}
	}
}

// try reports whether there was an answer.
func (s *shop) try(t testing.TB, one *shopper, a attempt) bool {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	out, err := one.Try(ctx, one.client(), a.Attempt, s.stones)
	if err != nil {
		t.Errorf("an answer that nobody should get: %v", err)
	}
	if out.Outcome == racetest.Unknown {
		s.unanswered.Add(1)
		return false
	}
	s.note(a, out)
	s.answered <- struct{}{}
	return true
}

// note tells the history of an attempt, and has its end watched where it matters: of a
// hold that may have been placed, or was refused when it would have been over.
func (s *shop) note(a attempt, out racetest.Result) {
	s.past.Add(a.Attempt, a.call, out)
	if ends := time.UnixMicro(a.At); a.Do == racetest.Hold && (out.Outcome != racetest.Refused || !time.Now().Before(ends.Add(-early))) {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.ends = append(s.ends, end{a.Group, ends})
	}
}

// early is how much sooner the node's clock may show a moment than the test's.
const early = 5 * time.Millisecond

// watch tells the history of the moments at which holds end, until it is over: once a
// call is answered that began after such a moment, all calls that begin later know of
// it. It takes three: commands that are decided together share the first one's moment.
func (s *shop) watch(t testing.TB, over <-chan struct{}) {
	client := jewellerv1.NewJewellerServiceClient(s.coop.jewellers[0].conn)
	for {
		last := false
		select {
		case <-over:
			last = true
		case <-time.After(20 * time.Millisecond):
		}
		now := time.Now()
		s.mu.Lock()
		past := slices.DeleteFunc(slices.Clone(s.ends), func(e end) bool { return e.at.After(now) })
		s.ends = slices.DeleteFunc(s.ends, func(e end) bool { return !e.at.After(now) })
		s.mu.Unlock()
		for range 3 {
			ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
			_, err := client.HoldStones(ctx, &jewellerv1.HoldStonesRequest{RequestId: newID(), StoneIds: []string{"no-such-stone"}})
			cancel()
			switch status.Code(err) {
			case codes.NotFound, codes.FailedPrecondition, codes.InvalidArgument:
			case codes.Unavailable, codes.Canceled: // killed: in the next round
				s.mu.Lock()
				s.ends = append(s.ends, past...)
				s.mu.Unlock()
				return
			default:
				t.Errorf("a hold of no stone is answered with %v", err)
				return
			}
		}
		for _, e := range past {
			s.past.Tick(e.group, e.at, s.past.Moment(e.at.Add(-early)))
		}
		if last {
			return
		}
	}
}
