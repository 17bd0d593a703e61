package main

import typev1 "seamshare.example/proto/gen/seamshare/type/v1"

// demoStudy is what a cutter thinks of a piece before the saw: what is seen, the plans, and the one that is chosen.
type demoStudy struct {
	parcel, piece string
	note          string
	plans         []demoPlan
	chosen, why   string // by the plan's label
	revised       *demoRevision
}

// demoPlan is a plan in the cutter's words; estimates are the cutter's, before levy and work.
type demoPlan struct {
	label, reason string
	steps         []string
	stones        []demoPlanned
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

const (
	demoOval     = typev1.Outline_OUTLINE_OVAL
	demoRound    = typev1.Outline_OUTLINE_ROUND
	demoFreeform = typev1.Outline_OUTLINE_FREEFORM
)

var demoStudies = []demoStudy{
	{
		parcel: "P1", piece: "1", note: "half of a split boulder; its other half is piece 2",
		plans: []demoPlan{{
			label: "mirrored pair, left", reason: "the two halves show one seam: an oval of the same size from each matches as no other two stones will",
			steps: []string{"saw along the seam, waste rock off", "saw across the face between the two stones"},
			stones: []demoPlanned{
				{"left of the pair", demoOval, "12x9x3.0 mm", 100}, {"beside it", demoFreeform, "15x8x2.8 mm", 100},
			},
		}},
		chosen: "mirrored pair, left", why: "a pair brings more than two single stones",
	},
	{
		parcel: "P1", piece: "2", note: "the other half of piece 1",
		plans: []demoPlan{{
			label: "mirrored pair, right", reason: "the mirror of piece 1; rock shows at one corner, so the stone beside it is small",
			steps: []string{"saw along the seam, waste rock off", "saw across the face between the two stones"},
			stones: []demoPlanned{
				{"right of the pair", demoOval, "12x9x3.0 mm", 100}, {"beside it", demoRound, "7x7x2.6 mm", 100},
			},
		}},
		chosen: "mirrored pair, right", why: "a pair brings more than two single stones",
	},
	{
		parcel: "P1", piece: "3", note: "two seams 14° apart; the closed end is 4 mm, the open end 38 mm from where they would meet",
		plans: []demoPlan{
			{
				label: "one seam only", reason: "1350.00 for sure; the second seam is ground away",
				steps:  []string{"grind the second seam off", "saw to length"},
				stones: []demoPlanned{{"the better seam", demoFreeform, "19x11x2.3 mm", 100}},
			},
			{
				label: "both on the open part, one at the closed end",
				reason: "from 12.290 mm outward both have 1.2 mm of backing with a kerf of 0.60 mm; set at 12.5 mm, 1.226 mm is left. " +
					"1910.00 if it holds, chance 0.70, 420.00 if it doesn't: expected 1463.00, spread 682.80; as good as one seam at a chance of 0.6242",
				steps: []string{"saw across the face, 12.5 mm from where the seams would meet", "saw between the seams"},
				stones: []demoPlanned{
					{"first seam", demoFreeform, "19x11x2.3 mm", 70}, {"second seam", demoFreeform, "14x9x2.3 mm", 70}, {"closed end", demoOval, "7x5x2.2 mm", 100},
				},
			},
		},
		chosen: "both on the open part, one at the closed end", why: "I hold 0.70 likely, above the 0.6242 at which the two plans are worth the same",
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
			label: "one freeform", reason: "the largest face that the bar gives",
			steps: []string{"face the bar", "grind round the rock"}, stones: []demoPlanned{{"freeform", demoFreeform, "20x12x2.4 mm", 100}},
		}},
		chosen: "one freeform", why: "one large stone sells sooner than two small ones",
		revised: &demoRevision{
			why: "after facing, the bar dips: the large face would lose its colour in the middle",
			plan: demoPlan{
				label: "two small stones with rock in the face", reason: "rock in the face sells to those who like it",
				steps:  []string{"saw across the face where the bar dips"},
				stones: []demoPlanned{{"larger", demoFreeform, "13x9x2.6 mm", 100}, {"smaller", demoFreeform, "10x8x2.4 mm", 100}},
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
			label: "graduated suite of three", reason: "stones of one slab match",
			steps: []string{"saw a slab along the layers", "saw it across into three"},
			stones: []demoPlanned{
				{"centre", demoOval, "14x10x3.6 mm", 100}, {"side", demoOval, "12x9x3.4 mm", 100}, {"side", demoOval, "10x8x3.2 mm", 100},
			},
		}},
		chosen: "graduated suite of three", why: "a suite brings more than its stones one by one",
	},
}
