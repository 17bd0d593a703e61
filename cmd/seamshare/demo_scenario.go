package main

import (
	_ "embed"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// The demo's data. All of it is invented: co-op, fields, claims, trading names, masses, prices.

// The parcel's pieces and proposed agreement are files as a miner would write them, read the same way.
var (
	//go:embed demo/p1.csv
	demoPieces []byte
	//go:embed demo/p1.agreement.json
	demoAgreement []byte
)

const (
	demoCoop     = "Two Fields Opal Co-operative"
	demoMiner    = "Billycart Diggings"
	demoCutter   = "Wet Wheel Workshop"
	demoRival    = "Two Dops Lapidary"
	demoJeweller = "Marrow & Pin Jewellers"
	demoSecond   = "Fernhook Goldsmiths"
	demoDesk     = "Two Fields desk"

	demoTotal      = "185.76 g"
	demoTotalTyped = "186.26 g" // the miner's slip
	demoPrice      = "1600.00 AUD"
	demoFreight    = "38.50 AUD"
)

// demoStep is a step at the bench: a row of the bench book.
type demoStep struct {
	piece, part string
	step        typev1.Step
	outs        string // as seamshare piece work takes them
	reason      typev1.Reason
	how         string
	area        string
}

const (
	saw      = typev1.Step_STEP_SAW
	trim     = typev1.Step_STEP_TRIM
	setAside = typev1.Step_STEP_SET_ASIDE
	kerf     = typev1.Reason_REASON_KERF
	waste    = typev1.Reason_REASON_WASTE
	cracked  = typev1.Reason_REASON_CRACK_OPENED
)

// demoBench is all bench work on the parcel but the finishing, on a scale of 0.01 g. Piece 6 isn't touched.
var demoBench = []demoStep{
	{"1", "1", saw, "1A=9.24g,1B=23.44g", kerf, "in the section, along the seam", "860 mm2"},
	{"1", "1B", setAside, "", waste, "", ""},
	{"1", "1A", saw, "1C=5.02g,1D=4.05g", kerf, "across the face", "108 mm2"},
	{"1", "1C", trim, "1C'=1.42g,1C.off=1.15g:offcut", waste, "", ""},
	{"1", "1D", trim, "1D'=1.48g", waste, "", ""},
	{"2", "2", saw, "2A=9.02g,2B=20.36g", kerf, "in the section, along the seam", "833 mm2"},
	{"2", "2B", setAside, "", waste, "", ""},
	{"2", "2A", saw, "2C=4.60g,2D=4.25g", kerf, "across the face", "108 mm2"},
	{"2", "2C", trim, "2C'=1.40g", waste, "", ""},
	{"2", "2D", trim, "2D'=0.74g,2D.off=0.96g:offcut", waste, "", ""},
	{"3", "3", saw, "3A=1.60g,3B=10.29g", kerf, "across the face, 12.5 mm from where the seams would meet", "105 mm2"},
	{"3", "3B", saw, "3C=4.80g,3D=4.70g", kerf, "in the section, between the seams", "440 mm2"},
	{"3", "3C", trim, "3C'=1.98g,3C.off=0.62g:offcut", waste, "", ""},
	{"3", "3D", trim, "3D'=1.40g", waste, "", ""},
	{"3", "3A", trim, "3A'=0.52g", waste, "", ""},
	{"4", "4", saw, "4A=4.60g,4B=4.11g", kerf, "across the face, along the crack", "139 mm2"},
	{"4", "4A", trim, "4A'=1.04g", waste, "", ""},
	{"4", "4B", trim, "4B'=1.05g", waste, "", ""},
	{"4", "4B'", setAside, "", cracked, "a second crack opened on the fine wheel", ""},
	{"5", "5", saw, "5A=6.00g,5B=5.07g", kerf, "across the face, after facing showed that the bar dips", "130 mm2"},
	{"5", "5A", trim, "5A'=1.45g", waste, "", ""},
	{"5", "5B", trim, "5B'=0.98g", waste, "", ""},
}

// demoStone is a finished stone and what is asked for it.
type demoStone struct {
	label, piece, part string
	mass, size         string
	outline            typev1.Outline
	pattern            typev1.Pattern
	colours, remarks   string
	price              string
}

// demoStones were finished on a scale of 0.01 ct.
var demoStones = []demoStone{
	{"1", "1", "1C'", "608 mg", "12x9x3.0 mm", typev1.Outline_OUTLINE_OVAL, typev1.Pattern_PATTERN_BROAD_FLASH, "green and blue", "pair, left", "740.00 AUD"},
	{"2", "2", "2C'", "616 mg", "12x9x3.0 mm", typev1.Outline_OUTLINE_OVAL, typev1.Pattern_PATTERN_BROAD_FLASH, "green and blue", "pair, right; mirror of 1", "740.00 AUD"},
	{"3", "1", "1D'", "668 mg", "15x8x2.8 mm", typev1.Outline_OUTLINE_FREEFORM, typev1.Pattern_PATTERN_STRAW, "blue and green", "", "420.00 AUD"},
	{"4", "2", "2D'", "238 mg", "7x7x2.6 mm", typev1.Outline_OUTLINE_ROUND, typev1.Pattern_PATTERN_PINFIRE, "green", "", "95.00 AUD"},
	{"5", "3", "3C'", "928 mg", "19x11x2.3 mm", typev1.Outline_OUTLINE_FREEFORM, typev1.Pattern_PATTERN_ROLLING_FLASH, "orange and green", "", "1150.00 AUD"},
	{"6", "3", "3D'", "572 mg", "14x9x2.3 mm", typev1.Outline_OUTLINE_FREEFORM, typev1.Pattern_PATTERN_FLASH, "green and violet", "", "640.00 AUD"},
	{"7", "3", "3A'", "140 mg", "7x5x2.2 mm", typev1.Outline_OUTLINE_OVAL, typev1.Pattern_PATTERN_FLASH, "orange", "", "120.00 AUD"},
	{"8", "4", "4A'", "374 mg", "10x7x2.8 mm", typev1.Outline_OUTLINE_OVAL, typev1.Pattern_PATTERN_RIBBON, "blue", "", "260.00 AUD"},
	{"9", "5", "5A'", "662 mg", "13x9x2.6 mm", typev1.Outline_OUTLINE_FREEFORM, typev1.Pattern_PATTERN_UNSPECIFIED, "green", "host rock in the face", "45.00 AUD"},
	{"10", "5", "5B'", "420 mg", "10x8x2.4 mm", typev1.Outline_OUTLINE_FREEFORM, typev1.Pattern_PATTERN_UNSPECIFIED, "blue", "host rock in the face", "37.50 AUD"},
}

// demoSale is one order, paid in full.
type demoSale struct {
	jeweller string
	stones   []string // by label
}

// demoSales come after the pair, which both jewellers want.
var demoSales = []demoSale{
	{demoSecond, []string{"3"}},
	{demoJeweller, []string{"4"}},
	{demoJeweller, []string{"5"}},
	{demoSecond, []string{"6"}},
	{demoSecond, []string{"7"}},
	{demoJeweller, []string{"8"}},
	{demoSecond, []string{"9"}},
	{demoSecond, []string{"10"}},
}

// demoPair is a matched pair; demoReturned comes back.
var demoPair = demoSale{demoJeweller, []string{"1", "2"}}

const (
	demoReturned  = "6"
	demoReturnWhy = "the setting it was meant for was changed"
)
