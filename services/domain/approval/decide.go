package approval

import (
	"fmt"
	"slices"
	"time"

	approvalv1 "seamshare.example/proto/gen/seamshare/event/approval/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"
)

// Wish is what a jeweller asks for.
type Wish struct {
	ID       string
	Kind     approvalv1.GoodsKind
	Jeweller string
	Cutters  []string // of each stone, in their order
	StoneIDs []string
	Prices   []*eventv1.Amount // asked for each stone now
	DueAt    time.Time         // the zero time: as late as may be
	Longest  time.Duration     // by the settings, for the kind
	// Loss and Breakage are what the jeweller is ready to bear; zero: the cutter bears it.
	Loss, Breakage approvalv1.Bearer
	Note           string
	Now            time.Time
}

// Ask asks for goods (rules 1 and 2).
func (s State) Ask(w Wish) (*approvalv1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "goods are asked for once", Hint: "look it up under this id"}
	}
	var broken rule.All
	broken.Answered("kind", int32(w.Kind), approvalv1.GoodsKind_name)
	if n := len(w.StoneIDs); n < 1 || n > MaxLines {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "stone_ids", Value: fmt.Sprintf("%d stones", n), Rule: fmt.Sprintf("1 to %d go out together", MaxLines), Hint: "ask for them in several"})
	}
	for i, id := range w.StoneIDs {
		field := fmt.Sprintf("stone_ids[%d]", i)
		switch {
		case slices.Index(w.StoneIDs, id) != i:
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: field, Value: id, Rule: "a stone is asked for once", Hint: "leave it out"})
		case w.Cutters[i] != w.Cutters[0]:
			broken.Add(rule.Broken{Reason: rule.NotOneSeller, Field: field, Value: id, Rule: "goods on approval are all of one cutter", Hint: "ask each cutter by itself"})
		case w.Cutters[i] == w.Jeweller:
			broken.Add(rule.Broken{Reason: rule.OwnStone, Field: field, Value: id, Rule: "the stone is your own", Hint: "leave it out"})
		}
	}
	asked := &approvalv1.Asked_Private{Kind: w.Kind, JewellerId: w.Jeweller, StoneIds: w.StoneIDs, Note: w.Note, Loss: w.Loss, Breakage: w.Breakage}
	for i, p := range w.Prices {
		broken.Currency(fmt.Sprintf("stone_ids[%d]", i), p, w.Prices[0].GetCurrency())
		asked.Currency, asked.PricesMinor = p.GetCurrency(), append(asked.PricesMinor, p.GetMinor())
	}
	for _, b := range []*approvalv1.Bearer{&asked.Loss, &asked.Breakage} {
		if *b == approvalv1.Bearer_BEARER_UNSPECIFIED {
			*b = approvalv1.Bearer_BEARER_CUTTER
		}
	}
	broken.Answered("loss", int32(asked.Loss), approvalv1.Bearer_name)
	broken.Answered("breakage", int32(asked.Breakage), approvalv1.Bearer_name)
	asked.DueAtUs = dueBy(&broken, w.DueAt, w.Longest, w.Now).UnixMicro()
	if w.Note != "" {
		broken.Text("note", w.Note, 500)
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	asked.CutterId = w.Cutters[0]
	return &approvalv1.Event{Event: &approvalv1.Event_Asked{Asked: &approvalv1.Asked{
		Public: &approvalv1.Asked_Public{ApprovalId: w.ID}, Private: asked,
	}}}, nil
}

// dueBy is the day goods are due (rule 2).
func dueBy(broken *rule.All, due time.Time, longest time.Duration, now time.Time) time.Time {
	latest := now.Add(longest)
	if due.IsZero() {
		due = latest
	}
	if !due.After(now) || due.After(latest) {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "due_at", Value: rule.Moment(due),
			Rule: "goods are due after now and at the latest " + rule.Moment(latest), Hint: "choose a day between",
		})
	}
	return due
}

// Sending is how goods go out.
type Sending struct {
	Lines          []Line // stone, parcel, set, price and what each measures
	Currency       string
	DueAt          time.Time // the zero time: as asked
	Longest        time.Duration
	Loss, Breakage approvalv1.Bearer
	Carrier        string
	Reference      string
	// Already is what the jeweller has out in the currency, and Most what they may have;
	// Limited is false where the currency has no limit.
	Already, Most int64
	Limited       bool
	Now           time.Time
}

// Send sends the goods out (rules 2 to 4). That each stone may go out is the stone's
// rule.
func (s State) Send(cutter string, g Sending) (*approvalv1.Event, error) {
	if err := s.waiting(cutter == s.Cutter, g.Now); err != nil {
		return nil, err
	}
	if !s.AskedFor.After(g.Now) {
		return nil, rule.Broken{Reason: rule.NotAsAsked, Field: "approval_id", Value: s.ID, Rule: "the jeweller asked for them until " + rule.Moment(s.AskedFor) + ", which is over", Hint: "decline, and let them ask again"}
	}
	var broken rule.All
	if !s.all(g.Lines) {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "stones", Value: fmt.Sprintf("%d stones", len(g.Lines)), Rule: "all stones that were asked for go out, each once", Hint: fmt.Sprintf("send these: %v, or decline", s.StoneIDs)})
	}
	broken.Answered("loss", int32(g.Loss), approvalv1.Bearer_name)
	broken.Answered("breakage", int32(g.Breakage), approvalv1.Bearer_name)
	broken.Text("carrier", g.Carrier, 80)
	broken.Text("reference", g.Reference, 80)
	if g.DueAt.IsZero() {
		g.DueAt = s.AskedFor
	}
	due := dueBy(&broken, g.DueAt, g.Longest, g.Now)
	s.asAsked(&broken, g)
	sent := &approvalv1.Sent_Private{
		DueAtUs: due.UnixMicro(), Currency: g.Currency, Loss: g.Loss, Breakage: g.Breakage, Carrier: g.Carrier, Reference: g.Reference,
	}
	var value int64
	for _, l := range g.Lines {
		value = min(value+l.Price, money.Max+1)
		sent.Lines = append(sent.Lines, &approvalv1.Line{StoneId: l.StoneID, ParcelId: l.ParcelID, SetId: l.SetID, PriceMinor: l.Price, Measured: l.Out})
	}
	if g.Limited && g.Already+value > g.Most || value > money.Max {
		broken.Add(rule.Broken{
			Reason: rule.TooMuchOut, Field: "stones", Value: s.money(g.Currency, value) + " with " + s.money(g.Currency, g.Already) + " out already",
			Rule: "one jeweller has at most " + s.money(g.Currency, g.Most) + " out", Hint: "wait until some is back or bought, or ask the desk for another limit",
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &approvalv1.Event{Event: &approvalv1.Event_Sent{Sent: &approvalv1.Sent{Public: &approvalv1.Sent_Public{ApprovalId: s.ID}, Private: sent}}}, nil
}

// asAsked notes what would cost the jeweller more than they asked under (rules 1 and 3).
func (s State) asAsked(broken *rule.All, g Sending) {
	if g.DueAt.After(s.AskedFor) {
		broken.Add(rule.Broken{
			Reason: rule.NotAsAsked, Field: "due_at", Value: rule.Moment(g.DueAt), Rule: "the jeweller asked for them until " + rule.Moment(s.AskedFor) + " at the latest",
			Hint: "name no later time; give more of it once they are out",
		})
	}
	for _, b := range []struct {
		field        string
		says, offers approvalv1.Bearer
	}{{"loss", g.Loss, s.Loss}, {"breakage", g.Breakage, s.Breakage}} {
		if b.says == approvalv1.Bearer_BEARER_JEWELLER && b.offers != b.says {
			broken.Add(rule.Broken{
				Reason: rule.NotAsAsked, Field: b.field, Value: "jeweller", Rule: "the jeweller didn't offer to bear it",
				Hint: "bear it yourself, or decline and let them ask again",
			})
		}
	}
	for i, l := range g.Lines {
		n := slices.Index(s.StoneIDs, l.StoneID)
		if n < 0 || g.Currency == s.Currency && l.Price <= s.Seen[n] {
			continue
		}
		seen := s.money(s.Currency, s.Seen[n])
		broken.Add(rule.Broken{
			Reason: rule.NotAsAsked, Field: fmt.Sprintf("stones[%d]", i), Value: s.money(g.Currency, l.Price), Rule: "the jeweller saw it at " + seen + " when they asked",
			Hint: "put it on sale at no more than that, or decline and let them ask again",
		})
	}
}

func (s State) money(currency string, minor int64) string {
	return rule.Money(&eventv1.Amount{Currency: currency, Minor: minor})
}

func (s State) all(lines []Line) bool {
	return len(lines) == len(s.StoneIDs) && !slices.ContainsFunc(s.StoneIDs, func(id string) bool {
		return !slices.ContainsFunc(lines, func(l Line) bool { return l.StoneID == id })
	})
}

// waiting refuses unless it is the caller's and still waits to be sent (rule 5).
func (s State) waiting(theirs bool, now time.Time) error {
	switch {
	case s.ID == "" || !theirs:
		return rule.NotThere("approval_id", "approval")
	case s.Stage(now) != Asked:
		return rule.Broken{Reason: rule.ApprovalOver, Field: "approval_id", Value: s.ID, Rule: "it doesn't wait to be sent any more", Hint: "look at where it stands"}
	}
	return nil
}

// out refuses unless it is the caller's and something is out.
func (s State) out(theirs bool, now time.Time) error {
	switch stage := s.Stage(now); {
	case s.ID == "" || !theirs:
		return rule.NotThere("approval_id", "approval")
	case stage != AllOut && stage != Overdue:
		return rule.Broken{Reason: rule.ApprovalNotOut, Field: "approval_id", Value: s.ID, Rule: "nothing of it is out", Hint: "look at where it stands"}
	}
	return nil
}

// Decline turns the wish down (rule 5).
func (s State) Decline(cutter, why string, now time.Time) (*approvalv1.Event, error) {
	if err := s.waiting(cutter == s.Cutter, now); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("why", why, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &approvalv1.Event{Event: &approvalv1.Event_Declined{Declined: &approvalv1.Declined{
		Public: &approvalv1.Declined_Public{ApprovalId: s.ID}, Private: &approvalv1.Declined_Private{Why: why},
	}}}, nil
}

// Withdraw takes the wish back (rule 5).
func (s State) Withdraw(jeweller string, now time.Time) (*approvalv1.Event, error) {
	if err := s.waiting(jeweller == s.Jeweller, now); err != nil {
		return nil, err
	}
	return &approvalv1.Event{Event: &approvalv1.Event_Withdrawn{Withdrawn: &approvalv1.Withdrawn{
		Public: &approvalv1.Withdrawn_Public{ApprovalId: s.ID}, Private: &approvalv1.Withdrawn_Private{},
	}}}, nil
}

// Extend gives more time (rule 2).
func (s State) Extend(cutter string, due time.Time, longest time.Duration, now time.Time) (*approvalv1.Event, error) {
	if err := s.out(cutter == s.Cutter, now); err != nil {
		return nil, err
	}
	var broken rule.All
	due = dueBy(&broken, due, longest, now)
	if !due.After(s.DueAt) {
		broken.Add(rule.Broken{Reason: rule.TimeInvalid, Field: "due_at", Value: rule.Moment(due), Rule: "it is due " + rule.Moment(s.DueAt) + " already; more time is later", Hint: "name a later day"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &approvalv1.Event{Event: &approvalv1.Event_Extended{Extended: &approvalv1.Extended{
		Public: &approvalv1.Extended_Public{ApprovalId: s.ID}, Private: &approvalv1.Extended_Private{DueAtUs: due.UnixMicro()},
	}}}, nil
}

// Buy buys stones that are out (rule 7).
func (s State) Buy(jeweller string, stoneIDs []string, orderID string, now time.Time) (*approvalv1.Event, error) {
	if err := s.out(jeweller == s.Jeweller, now); err != nil {
		return nil, err
	}
	var broken rule.All
	for i, id := range stoneIDs {
		field := fmt.Sprintf("stone_ids[%d]", i)
		l, _ := s.Line(id)
		if l.Stage != Out {
			broken.Add(s.notOut(field, id))
			continue
		}
		if slices.Index(stoneIDs, id) != i {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: field, Value: id, Rule: "a stone is bought once", Hint: "leave it out"})
		}
		for _, other := range s.Lines {
			if other.Stage == Out && l.SetID != "" && other.SetID == l.SetID && !slices.Contains(stoneIDs, other.StoneID) {
				broken.Add(rule.Broken{Reason: rule.SetNotWhole, Field: field, Value: id, Rule: "it went out in a pair or suite, and what is still out of it is bought as a whole", Hint: "take stone " + other.StoneID + " too"})
				break
			}
		}
	}
	if len(stoneIDs) == 0 {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "stone_ids", Value: "none", Rule: "at least one stone is bought", Hint: "name it"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &approvalv1.Event{Event: &approvalv1.Event_Kept{Kept: &approvalv1.Kept{
		Public: &approvalv1.Kept_Public{ApprovalId: s.ID}, Private: &approvalv1.Kept_Private{StoneIds: stoneIDs, OrderId: orderID},
	}}}, nil
}

func (s State) notOut(field, id string) rule.Broken {
	return rule.Broken{Reason: rule.StoneNotOut, Field: field, Value: id, Rule: "the stone isn't out on this approval", Hint: "look at its stones"}
}

// TakeBack takes a stone back (rules 8 and 9). differs says what it disagrees in with
// what went out: stone.Differs.
func (s State) TakeBack(cutter, stoneID string, m *eventv1.Measured, massDiffers, sizeDiffers bool, note string) (*approvalv1.Event, error) {
	if s.ID == "" || s.Cutter != cutter {
		return nil, rule.NotThere("approval_id", "approval")
	}
	l, _ := s.Line(stoneID)
	atCuttersCost := (l.Stage == Lost || l.Stage == Broken) && l.OrderID == ""
	if l.Stage != Out && !atCuttersCost {
		return nil, s.notOut("stone.stone_id", stoneID)
	}
	if note != "" {
		var broken rule.All
		broken.Text("note", note, 500)
		if err := broken.Err(); err != nil {
			return nil, err
		}
	}
	return &approvalv1.Event{Event: &approvalv1.Event_TakenBack{TakenBack: &approvalv1.TakenBack{
		Public:  &approvalv1.TakenBack_Public{ApprovalId: s.ID},
		Private: &approvalv1.TakenBack_Private{StoneId: stoneID, Measured: m, MassDiffers: massDiffers, SizeDiffers: sizeDiffers, Note: note},
	}}}, nil
}

// cutterMaySay is from when the cutter can say it at the jeweller's cost (rule 9). The
// cutter alone sets the day they are due, and could set it for the next moment.
func (s State) cutterMaySay() time.Time {
	if s.AskedFor.After(s.DueAt) {
		return s.AskedFor
	}
	return s.DueAt
}

// Lose says that a stone is lost or broke (rule 9). orderID is of the order by which the
// jeweller pays for it; empty where the cutter bears it.
func (s State) Lose(member, stoneID string, broke bool, how, orderID string, now time.Time) (*approvalv1.Event, error) {
	if err := s.out(member == s.Jeweller || member == s.Cutter, now); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("how", how, 500)
	if l, _ := s.Line(stoneID); l.Stage != Out {
		broken.Add(s.notOut("stone_id", stoneID))
	} else if from := s.cutterMaySay(); orderID != "" && member == s.Cutter && now.Before(from) {
		broken.Add(rule.Broken{
			Reason: rule.NotOverdue, Field: "stone_id", Value: stoneID,
			Rule: "the jeweller bears it, and has until " + rule.Moment(from) + " to bring it back; before that only they can say that it is lost or broke",
			Hint: "let the jeweller report it, or wait until then",
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	if broke {
		return &approvalv1.Event{Event: &approvalv1.Event_Broken{Broken: &approvalv1.Broken{
			Public: &approvalv1.Broken_Public{ApprovalId: s.ID}, Private: &approvalv1.Broken_Private{StoneId: stoneID, How: how, OrderId: orderID, SaidById: member},
		}}}, nil
	}
	return &approvalv1.Event{Event: &approvalv1.Event_Lost{Lost: &approvalv1.Lost{
		Public: &approvalv1.Lost_Public{ApprovalId: s.ID}, Private: &approvalv1.Lost_Private{StoneId: stoneID, How: how, OrderId: orderID, SaidById: member},
	}}}, nil
}
