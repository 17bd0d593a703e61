package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// What a bench book says besides the steps of the API.
const (
	bookFinish = "finish"
	bookShelf  = "shelf"
	bookAwait  = "await"
)

// work records the bench books of all parcels.
func (d *demo) work() error {
	book, err := demoTable("bench.csv")
	if err != nil {
		return err
	}
	stones, err := demoStoneFacts()
	if err != nil {
		return err
	}
	// The demo takes seconds, the bench took days: each step is recorded with the moment at which it was done.
	last := 0
	for _, row := range book {
		if row["hour"] != "" {
			last = max(last, builtIn(strconv.Atoi(row["hour"])))
		}
	}
	d.benchBegan = time.Now().Add(-time.Duration(last) * time.Hour).Truncate(time.Second).UTC()
	d.tell("%s", strings.TrimSpace(safetyLine))
	for _, p := range demoParcels {
		d.tell("%s works parcel %s. Every step is weighed in and out; what is missing was lost, and says why. It took days: each step is recorded with the moment it was done, and a shaped stone rests before its polish:", p.buyer, p.label)
		w := bench{demo: d, parcel: p, cutter: d.people[p.buyer].cutter(), facts: stones, table: table.New(
			text("step"), text("part"), right("in, g"), wrapped("out, g"), right("lost"), wrapped("why, and how"),
		)}
		for _, row := range book {
			if row["parcel"] != p.label {
				continue
			}
			if err := w.record(row); err != nil {
				return fmt.Errorf("piece %s-%s, part %s: %w", p.label, row["piece"], row["part"], err)
			}
		}
		if err := d.print(w.table); err != nil {
			return err
		}
		for _, words := range w.afterwards {
			d.tell("%s", words)
		}
	}
	return nil
}

// bench is a cutter at work on a parcel.
type bench struct {
	*demo
	parcel     demoParcel
	cutter     cutterv1.CutterServiceClient
	facts      map[string]map[string]string // of stones, by label
	table      *table.Table
	afterwards []string // what the story says below the table
}

func (w *bench) piece(row map[string]string) *typev1.Piece {
	return w.pieces[w.parcel.label+"-"+row["piece"]]
}

// record plays one row of the bench book.
func (w *bench) record(row map[string]string) error {
	switch row["step"] {
	case bookFinish:
		return w.finish(row)
	case bookShelf, bookAwait:
		return w.shelve(row)
	}
	r := &cutterv1.WorkPartRequest{
		RequestId: w.id(), PieceId: w.piece(row).GetId(), Part: row["part"], Step: builtIn(parseWord[typev1.Step](row["step"])), How: row["how"], DoneAt: w.at(row),
	}
	if row["reason"] != "" {
		r.Reason = builtIn(parseWord[typev1.Reason](row["reason"]))
	}
	if row["area_mm2"] != "" {
		r.AreaUm2 = builtIn(parseArea(row["area_mm2"] + " mm2"))
	}
	if row["out"] != "" {
		for _, p := range builtIn(parseOuts(row["out"])) {
			r.PartsOut = append(r.PartsOut, &cutterv1.PartOut{Name: p.name, Weighing: weighing(p.mass, demoScale), Fate: p.fate})
		}
	}
	// Shaping and looking leave the part what it is; what they take is weighed with the next step.
	r.NotWeighed = r.GetStep() == typev1.Step_STEP_SHAPE || r.GetStep() == typev1.Step_STEP_LOOK
	before, err := w.cutter.GetPiece(w.ctx, &cutterv1.GetPieceRequest{PieceId: r.GetPieceId()})
	if err != nil {
		return err
	}
	after, err := w.cutter.WorkPart(w.ctx, r)
	if err != nil {
		return err
	}
	if r.GetStep() == typev1.Step_STEP_LOOK {
		words, err := w.revise(w.parcel.label, row["piece"])
		if words != "" {
			w.afterwards = append(w.afterwards, words)
		}
		return err
	}
	if !r.GetNotWeighed() {
		w.row(r, before.GetPiece(), after.GetPiece())
	}
	return nil
}

// row shows a step as the node recorded it.
func (w *bench) row(r *cutterv1.WorkPartRequest, before, after *typev1.Piece) {
	var outs []string
	for _, made := range r.GetPartsOut() {
		part := partOf(after, made.GetName())
		out := part.GetName() + " " + bare(grams(part.GetWeighing()))
		if part.GetFate() == typev1.Fate_FATE_OFFCUT {
			out += " kept"
		}
		outs = append(outs, out)
	}
	why := word(r.GetReason())
	if r.GetAreaUm2() > 0 {
		why += fmt.Sprintf(", %d mm²", r.GetAreaUm2()/1_000_000)
	}
	w.table.Row(word(r.GetStep()), r.GetPart(), bare(grams(partOf(before, r.GetPart()).GetWeighing())), joined(outs...),
		bare(measure.Mass(allLost(after)-allLost(before)).OnScale(demoScale/10)), joined(why, r.GetHow()))
}

func partOf(p *typev1.Piece, name string) *typev1.PiecePart {
	if i := slices.IndexFunc(p.GetParts(), func(part *typev1.PiecePart) bool { return part.GetName() == name }); i >= 0 {
		return p.GetParts()[i]
	}
	return nil
}

func allLost(p *typev1.Piece) int64 {
	var sum int64
	for _, l := range p.GetLosses() {
		sum += l.GetMassUg()
	}
	return sum
}

// at is when a row of the book was done.
func (d *demo) at(row map[string]string) string {
	return d.benchBegan.Add(time.Duration(builtIn(strconv.Atoi(row["hour"]))) * time.Hour).Format(time.RFC3339)
}

// shelve puts a part back, or lets it wait for a decision.
func (w *bench) shelve(row map[string]string) error {
	id, part := w.piece(row).GetId(), row["part"]
	if row["step"] == bookAwait {
		_, err := w.cutter.AwaitDecision(w.ctx, &cutterv1.AwaitDecisionRequest{RequestId: w.id(), PieceId: id, Part: part, Reason: row["how"]})
		if err != nil {
			return err
		}
		a, err := w.cutter.GetPiece(w.ctx, &cutterv1.GetPieceRequest{PieceId: id})
		w.afterwards = append(w.afterwards, fmt.Sprintf("Piece %s stays uncut and has no plan yet: it waits for a decision, “%s”.", row["piece"], partOf(a.GetPiece(), part).GetWaitsFor()))
		return err
	}
	a, err := w.cutter.PlacePart(w.ctx, &cutterv1.PlacePartRequest{RequestId: w.id(), PieceId: id, Part: part, Fate: typev1.Fate_FATE_SHELF})
	if err != nil {
		return err
	}
	mass := bare(grams(partOf(a.GetPiece(), part).GetWeighing()))
	w.table.Row("shelve", part, mass, part+" "+mass, bare(measure.Mass(0).OnScale(demoScale/10)))
	return nil
}

// finish makes a stone, after its part has rested.
func (w *bench) finish(row map[string]string) error {
	label := row["out"]
	before, err := w.cutter.GetPiece(w.ctx, &cutterv1.GetPieceRequest{PieceId: w.piece(row).GetId()})
	if err != nil {
		return err
	}
	part := partOf(before.GetPiece(), row["part"])
	shaped, done := builtIn(time.Parse(time.RFC3339, part.GetShapedAt())), builtIn(time.Parse(time.RFC3339, w.at(row)))
	r := stoneRequest(w.facts[label])
	r.RequestId, r.PieceId, r.Part, r.DoneAt = w.id(), w.piece(row).GetId(), row["part"], w.at(row)
	if why := row["how"]; why != "" {
		_, err := w.cutter.FinishStone(w.ctx, r)
		refusal, err := w.refused(err)
		if err != nil {
			return err
		}
		w.afterwards = append(w.afterwards, fmt.Sprintf("Stone %s is wanted early, and at first refused: “%s” With a reason it may be, and its chain says so ever after: “%s”.", label, refusal, why))
		r.RequestId, r.WhyEarly = w.id(), why
	}
	a, err := w.cutter.FinishStone(w.ctx, r)
	if err != nil {
		return err
	}
	st := a.GetStone()
	w.stones[label] = &demoGoods{Stone: st, parcel: w.parcel.label, cutter: w.parcel.buyer}
	w.called[st.GetId()] = "stone " + label
	after, err := w.cutter.GetPiece(w.ctx, &cutterv1.GetPieceRequest{PieceId: r.GetPieceId()})
	if err != nil {
		return err
	}
	lost := measure.Mass(allLost(after.GetPiece()) - allLost(before.GetPiece()))
	w.table.Row("finish", r.GetPart(), bare(grams(part.GetWeighing())), "stone "+label+" "+bare(grams(st.GetWeighing())), bare(lost.OnScale(stoneScale/2)),
		fmt.Sprintf("ground off after %d h", int(done.Sub(shaped)/time.Hour)))
	return nil
}

// countStock lets the stock keeper put a part into the safe and count.
func (d *demo) countStock() error {
	c := demoCount
	keeper := d.people[deskStock].coop()
	thing := "piece/" + d.pieces[c.parcel+"-"+c.piece].GetId()
	if _, err := keeper.MoveStock(d.ctx, &coopv1.MoveStockRequest{RequestId: d.id(), Thing: thing, HolderId: d.memberOf(demoParcelOf(c.parcel).buyer), Place: c.place}); err != nil {
		return err
	}
	a, err := keeper.CountStock(d.ctx, &coopv1.CountStockRequest{
		RequestId: d.id(), Place: c.place, Note: c.note,
		Found: []*coopv1.CountedThing{{Thing: thing, Part: c.part, Weighing: demoMass(c.mass, demoScale)}},
	})
	if err != nil {
		return err
	}
	for _, diff := range a.GetCount().GetDifferences() {
		d.tell("Part %s of piece %s-%s lies in the %s. At the stock count desk 4 weighs %s of it, where the books say %s. The difference is neither lost nor hidden: it stands as unexplained.",
			c.part, c.parcel, c.piece, a.GetCount().GetPlace(), measure.Mass(diff.GetFoundUg()).OnScale(demoScale), measure.Mass(diff.GetExpectedUg()).OnScale(demoScale))
	}
	return nil
}
