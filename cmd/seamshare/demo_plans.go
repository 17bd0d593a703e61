package main

import typev1 "seamshare.example/proto/gen/seamshare/type/v1"

// demoStudy is what a cutter thinks of a piece before the saw: what is seen, the plans, and the one that is chosen.
type demoStudy struct {
	parcel, piece string
	note          string
	plans         []demoPlan
	chosen, why   string // by the plan's label
	revised       *demoRevision
	decided       *demoDecision
}

// demoDecision is a choice that is kept with its figures, and how it came out.
type demoDecision struct {
	part, about, reason string
	chance              int64 // in basis points
	options             []demoOption
	chosen              uint32
	held                bool
	note                string
}

type demoOption struct{ name, holds, fails string }

// demoPlan is a plan in the cutter's words; estimates are the cutter's, before levy and work.
type demoPlan struct {
	label, reason string
	// measured says that the plan of this label is drawn to measure, and steps and stones follow from it.
	measured bool
	steps    []string
	stones   []demoPlanned
}

type demoPlanned struct {
	label   string
	outline typev1.Outline
	size    string
	chance  uint32 // in percent
}

// demoRevision takes the chosen plan's place after a look.
type demoRevision struct {
	plan demoPlan
	why  string
}

const demoOval = typev1.Outline_OUTLINE_OVAL

var demoStudies = []demoStudy{
	{
		parcel: "P1", piece: "1", note: "half of a split boulder; its other half is piece 2",
		plans: []demoPlan{{
			label: "a pair's left and a freeform", measured: true,
			reason: "the two halves show one seam: an oval of the same size from each matches as no other two stones will",
		}},
		chosen: "a pair's left and a freeform", why: "a pair brings more than two single stones",
	},
	{
		parcel: "P1", piece: "2", note: "the other half of piece 1",
		plans: []demoPlan{{
			label: "a pair's right and a round", measured: true,
			reason: "the mirror of piece 1; rock shows at one corner, so the stone beside it is small",
		}},
		chosen: "a pair's right and a round", why: "a pair brings more than two single stones",
	},
	{
		parcel: "P1", piece: "3", note: "two seams 14° apart; the closed end is 4 mm, the open end 38 mm from where they would meet",
		plans: []demoPlan{
			{
				label: "the upper seam only", measured: true,
				reason: "1350.00 for sure; the lower seam is given up",
			},
			{
				label: "both seams on the open part", measured: true,
				reason: "from 12.290 mm outward both have 1.2 mm of backing with a kerf of 0.60 mm; set at 12.5 mm, 1.226 mm is left",
			},
		},
		decided: &demoDecision{
			part: "3", about: "both seams on the open part, or one", chance: 7_000, chosen: 2, held: true,
			reason:  "I hold 0.70 likely, and the two are worth the same at less",
			options: []demoOption{{"one seam only", "1350.00", "1350.00"}, {"both seams on the open part, one stone at the closed end", "1910.00", "420.00"}},
			note:    "both came out, and the closed end gave its stone",
		},
		chosen: "both seams on the open part", why: "worth more on average; I can bear the 420.00 if it breaks",
	},
	{
		parcel: "P1", piece: "4", note: "a crack runs across, about the middle",
		plans: []demoPlan{{
			label: "along the crack", reason: "the crack goes into the kerf; whether it runs on in the second half is not seen",
			steps:  []string{"saw across the face, along the crack"},
			stones: []demoPlanned{{"first half", demoOval, "10x7x2.8 mm", 100}, {"second half", demoOval, "10x6x2.8 mm", 60}},
		}},
		chosen: "along the crack", why: "two chances for the price of one cut",
	},
	{
		parcel: "P1", piece: "5", note: "the bar is thin, and looks level from the edge",
		plans: []demoPlan{{
			label: "face it, then decide", measured: true, reason: "if the bar is level, one freeform has the largest face; if it dips, two small stones do better",
		}},
		chosen: "face it, then decide", why: "the look costs twenty minutes and decides between one stone and two",
		revised: &demoRevision{
			why: "after facing, the bar dips: the large face would lose its colour in the middle",
			plan: demoPlan{
				label: "two small stones with rock in the face", measured: true, reason: "rock in the face sells to those who like it",
			},
		},
	},
	{
		parcel: "P2", piece: "2", note: "no saw at all: trimmed and ground",
		plans: []demoPlan{{
			label: "one oval", reason: "a saw would cost colour and gain nothing",
			steps: []string{"trim", "grind"}, stones: []demoPlanned{{"oval", demoOval, "16x12x4.8 mm", 100}},
		}},
		chosen: "one oval", why: "the bar carries it",
	},
	{
		parcel: "P3", piece: "1", note: "one slab along the layers gives all three; the rest goes back to the shelf",
		plans: []demoPlan{{
			label: "a suite of one slab", measured: true, reason: "stones of one slab match",
		}},
		chosen: "a suite of one slab", why: "a suite brings more than its stones one by one",
	},
}
