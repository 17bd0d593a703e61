package main

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"maps"
	"slices"
	"strconv"
	"strings"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// demoStoneFacts are the rows of stones.csv by stone.
func demoStoneFacts() (map[string]map[string]string, error) {
	rows, err := demoTable("stones.csv")
	out := map[string]map[string]string{}
	for _, row := range rows {
		out[row["stone"]] = row
	}
	return out, err
}

// stoneRequest is what its cutter says of a finished stone.
func stoneRequest(row map[string]string) *cutterv1.FinishStoneRequest {
	r := &cutterv1.FinishStoneRequest{
		Label: row["stone"], Weighing: demoMass(row["mass_mg"]+" mg", stoneScale), Size: builtIn(parseSize(row["size_mm"] + " mm")),
		Outline: builtIn(parseWord[typev1.Outline](row["outline"])), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		Hydrophane: typev1.Hydrophane_HYDROPHANE_NOT_KNOWN, Composite: typev1.Composite_COMPOSITE_NONE,
		Grade: &typev1.Grade{Colours: row["colours"]}, Remarks: row["remarks"],
	}
	if tone := row["body_tone"]; tone != "" {
		r.Grade.BodyTone = uint32(builtIn(strconv.ParseUint(tone, 10, 32)))
	}
	if row["pattern"] != "" {
		r.Grade.Pattern = builtIn(parseWord[typev1.Pattern](row["pattern"]))
	}
	if row["transparency"] != "" {
		r.Grade.Transparency = builtIn(parseWord[typev1.Transparency](row["transparency"]))
	}
	return r
}

// labels are the stones in the order of their numbers.
func (d *demo) labels() []string {
	return slices.SortedFunc(maps.Keys(d.stones), func(a, b string) int {
		return builtIn(strconv.Atoi(a)) - builtIn(strconv.Atoi(b))
	})
}

// offer has every stone checked by one person and confirmed by another, and puts it on sale.
func (d *demo) offer() error {
	if err := d.needsTwo(); err != nil {
		return err
	}
	for _, label := range d.labels() {
		if err := d.check(label); err != nil {
			return fmt.Errorf("stone %s: %w", label, err)
		}
	}
	facts, err := demoStoneFacts()
	if err != nil {
		return err
	}
	asked := func(label string) string { return facts[label]["asked_aud"] + " AUD" }
	inSet := map[string]bool{}
	for _, set := range demoSets {
		r := &cutterv1.OfferSetRequest{RequestId: d.id(), Kind: set.kind}
		for _, label := range set.stones {
			inSet[label] = true
			r.Stones = append(r.Stones, &cutterv1.SetStone{StoneId: d.stones[label].GetId(), Price: demoAmount(asked(label))})
		}
		a, err := d.people[set.cutter].cutter().OfferSet(d.ctx, r)
		if err != nil {
			return fmt.Errorf("stones %v: %w", set.stones, err)
		}
		for i, label := range set.stones {
			d.stones[label].Stone = a.GetStones()[i]
		}
	}
	for _, label := range d.labels() {
		if inSet[label] {
			continue
		}
		s := d.stones[label]
		a, err := d.people[s.cutter].cutter().PutStoneOnSale(d.ctx, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: s.GetId(), Price: demoAmount(asked(label))})
		if err != nil {
			return fmt.Errorf("stone %s: %w", label, err)
		}
		s.Stone = a.GetStone()
	}
	d.tell("So each of the twenty-one is checked by its cutter and confirmed by desk 4: back flat, wall even, bevel clear, candled, measured, photographed. Then they go on sale; a pair or suite has a price for each of its stones:")
	t := table.New(right("stone"), wrapped("outline, mm"), right("ct"), right("g"), wrapped("kind, what it is"), right("asked, AUD"))
	for _, label := range d.labels() {
		st := d.stones[label]
		t.Row(label, word(st.GetOutline())+" "+bareSize(st.GetSize()), st.GetCarat(), bare(grams(st.GetWeighing())), stoneWords(st.Stone), bare(amount.Text(st.GetPrice())))
	}
	return d.print(t)
}

func bareSize(s *typev1.Size) string { return strings.TrimSuffix(size(s), " mm") }

// stoneWords is what a stone is, in the trade's words.
func stoneWords(s *typev1.Stone) string {
	g := s.GetGrade()
	tone := ""
	if g.GetBodyTone() > 0 {
		tone = fmt.Sprintf("body tone N%d", g.GetBodyTone())
	}
	return joined(word(s.GetSetKind()), word(s.GetKind()), s.GetRemarks(), word(g.GetTransparency()), tone, g.GetColours(), word(g.GetPattern()))
}

// joined leaves out what is empty.
func joined(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(p string) bool { return p == "" }), ", ")
}

// needsTwo shows that no stone is sold on one person's word.
func (d *demo) needsTwo() error {
	first := d.stones[d.labels()[0]]
	cutter := d.people[first.cutter].cutter()
	_, err := cutter.PutStoneOnSale(d.ctx, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: first.GetId(), Price: demoAmount("1.00 AUD")})
	unchecked, err := d.refused(err)
	if err != nil {
		return err
	}
	d.tell("A stone that only its cutter has seen can't be sold: “%s”", unchecked)
	return nil
}

// check is the final check, by the cutter, and a second person's word.
func (d *demo) check(label string) error {
	s := d.stones[label]
	if err := d.photograph(label); err != nil {
		return err
	}
	_, err := d.people[s.cutter].cutter().CheckStone(d.ctx, &cutterv1.CheckStoneRequest{
		RequestId: d.id(), StoneId: s.GetId(), BackFlat: true, WallEven: true, BevelClears: true, Candled: true,
		Weighing: s.GetWeighing(), Size: s.GetSize(), Photo: s.photo,
	})
	if err != nil {
		return err
	}
	a, err := d.people[deskStock].cutter().ConfirmStone(d.ctx, &cutterv1.ConfirmStoneRequest{RequestId: d.id(), StoneId: s.GetId()})
	if err != nil {
		return err
	}
	s.Stone = a.GetStone()
	return nil
}

// photograph brings a picture of the stone to the node.
func (d *demo) photograph(label string) error {
	s := d.stones[label]
	var file bytes.Buffer
	if err := png.Encode(&file, card(s.Stone)); err != nil {
		return fmt.Errorf("couldn't write the picture: %w", err)
	}
	a, err := coopv1.NewPhotoServiceClient(d.people[s.cutter].conn).AddPhoto(d.ctx, &coopv1.AddPhotoRequest{Upload: "demo-photo-" + label, Chunk: file.Bytes(), Last: true})
	s.photo = &typev1.Photo{Sha256: a.GetSha256(), MediaType: a.GetMediaType(), Light: "north window, overcast"}
	return err
}

// card is the demo's picture, as it has no camera: an ellipse of the stone's size, a tenth of a millimetre to the dot, and
// brighter with its number, so that no two stones have the same.
func card(s *typev1.Stone) image.Image {
	w, h := int(s.GetSize().GetLengthUm()/100), int(s.GetSize().GetWidthUm()/100)
	bright := color.Gray{Y: uint8(100 + 5*builtIn(strconv.Atoi(s.GetLabel())))}
	out := image.NewGray(image.Rect(0, 0, w, h))
	for x := range w {
		for y := range h {
			if dx, dy := 2*x+1-w, 2*y+1-h; dx*dx*h*h+dy*dy*w*w < w*w*h*h {
				out.SetGray(x, y, bright)
			}
		}
	}
	return out
}
