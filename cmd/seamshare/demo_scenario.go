package main

import (
	"embed"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// The demo's data: what its people bring to the node, and nothing of what the node answers. All of it is invented: co-op,
// fields, claims, trading names, masses, prices.
//
// Pieces and proposed agreements are files as a miner would write them, read the same way; bench.csv and stones.csv are
// the cutters' bench books.
//
//go:embed demo
var demoFiles embed.FS

func demoFile(name string) []byte {
	data, err := demoFiles.ReadFile("demo/" + name)
	if err != nil {
		panic(err) // it is built in
	}
	return data
}

// demoTable reads a built-in CSV file as rows by the names of its columns.
func demoTable(name string) ([]map[string]string, error) {
	cells, err := csv.NewReader(strings.NewReader(string(demoFile(name)))).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("the demo's %s: %w", name, err)
	}
	rows := make([]map[string]string, len(cells)-1)
	for i, row := range cells[1:] {
		rows[i] = map[string]string{}
		for k, cell := range row {
			rows[i][cells[0][k]] = cell
		}
	}
	return rows, nil
}

// Who and where.

const (
	demoCoop     = "Two Fields Opal Co-operative"
	demoMiner    = "Billycart Diggings"
	demoSharer   = "Ninth Shaft Mining"
	demoCutter   = "Wet Wheel Workshop"
	demoRival    = "Two Dops Lapidary"
	demoJeweller = "Marrow & Pin Jewellers"
	demoSecond   = "Fernhook Goldsmiths"

	// The desk's persons, of the co-op itself.
	deskBooks   = "desk 1"
	deskApprove = "desk 2"
	deskAudit   = "desk 3"
	deskStock   = "desk 4"
)

type demoPerson struct {
	name  string
	roles []typev1.Role
}

// demoMembers have one person each, known by the member's name.
var demoMembers = []demoPerson{
	{demoMiner, []typev1.Role{typev1.Role_ROLE_MINER}},
	{demoSharer, []typev1.Role{typev1.Role_ROLE_MINER}},
	{demoCutter, []typev1.Role{typev1.Role_ROLE_CUTTER}},
	{demoRival, []typev1.Role{typev1.Role_ROLE_CUTTER}},
	{demoJeweller, []typev1.Role{typev1.Role_ROLE_JEWELLER}},
	{demoSecond, []typev1.Role{typev1.Role_ROLE_JEWELLER}},
}

// demoDesk: desk 1 may approve as well, so that what stops it is that it prepared the run itself.
var demoDesk = []demoPerson{
	{deskBooks, []typev1.Role{typev1.Role_ROLE_BOOKKEEPER, typev1.Role_ROLE_APPROVER}},
	{deskApprove, []typev1.Role{typev1.Role_ROLE_APPROVER}},
	{deskAudit, []typev1.Role{typev1.Role_ROLE_AUDITOR}},
	{deskStock, []typev1.Role{typev1.Role_ROLE_STOCK_KEEPER}},
}

const demoTwoPeople = "they sit side by side at every meeting"

type demoField struct{ name, country string }

var demoFields = []demoField{
	{"Ashbarrel Rise", "ironstone country, boulder and matrix"},
	{"Sparrowpan Flat", "clay country, seam opal"},
}

type demoClaim struct{ miner, field, name string }

var demoClaims = []demoClaim{
	{demoMiner, "Ashbarrel Rise", "Claim 4"},
	{demoMiner, "Ashbarrel Rise", "Claim 11"},
	{demoSharer, "Sparrowpan Flat", "Claim 2"},
}

// Parcels and agreements.

type demoParcel struct {
	label, seller, buyer string
	what                 string
	slip, total          string // the total as typed at first, if that was wrong, and as it is
	openAtAsking         bool
	title                typev1.Title
	groups               map[string][2]string // the size range of a counted lot, by label
	costs                []demoCost
}

func (p demoParcel) file(ending string) []byte { return demoFile(strings.ToLower(p.label) + ending) }

type demoCost struct{ kind, amount, reference string }

var demoParcels = []demoParcel{
	{
		label: "P1", seller: demoMiner, buyer: demoCutter, what: "six pieces of boulder opal", slip: "186.26 g", total: "185.76 g",
		costs: []demoCost{{"freight", "38.50 AUD", "P1 freight"}},
	},
	{
		label: "P2", seller: demoSharer, buyer: demoRival, what: "four pieces of seam opal, to be cut on halves", total: "38.75 g",
		title: typev1.Title_TITLE_STAYS,
		costs: []demoCost{{"freight", "22.45 AUD", "P2 freight"}, {"outside identification paper", "140.00 AUD", "stone 13"}},
	},
	{
		label: "P3", seller: demoMiner, buyer: demoRival, what: "two pieces of boulder matrix and nine chips", total: "76.40 g", openAtAsking: true,
		groups: map[string][2]string{"3": {"8 mm", "15 mm"}},
	},
}

// demoParcelOf finds a parcel by its label.
func demoParcelOf(label string) demoParcel {
	return demoParcels[slices.IndexFunc(demoParcels, func(p demoParcel) bool { return p.label == label })]
}

// demoViewings of P1.
var demoViewings = []struct {
	viewer, light, note string
	candled             bool
}{
	{demoCutter, "north window, overcast", "", true},
	{demoRival, "bench lamp, 5000 K", "", false},
}

// demoInspection is the cutter's own note of P1's third piece.
var demoInspection = struct{ who, piece, text string }{demoCutter, "3", "two seams that run together; worth the parcel if both can be had"}

// demoHaggling is about P1, in the order of what was said. A counter-offer goes to whom it names.
var demoHaggling = []struct {
	who, price string
	counter    bool
}{
	{demoCutter, "1450.00 AUD", false},
	{demoCutter, "1700.00 AUD", true},
	{demoRival, "1550.00 AUD", false},
	{demoCutter, "1600.00 AUD", false},
}

const (
	demoTooLate       = "1650.00 AUD"
	demoAssumedSales  = "4000.00 AUD" // what the miner assumes, to compare offers
	demoAssumedStones = 10
)

// The stock count at the end of bench work: what desk 4 finds of a part that lies on the shelf.
var demoCount = struct{ parcel, piece, part, place, mass, note string }{"P3", "2", "2B", "safe, shelf 2", "7.38 g", "month's end"}

// Stones that are sold together.

var demoSets = []struct {
	cutter string
	kind   typev1.SetKind
	stones []string
}{
	{demoCutter, typev1.SetKind_SET_KIND_PAIR, []string{"1", "2"}},
	{demoRival, typev1.SetKind_SET_KIND_SUITE, []string{"18", "19", "20"}},
}

// demoSale is one order.
type demoSale struct {
	parcel, jeweller string
	stones           []string
}

// demoSales in the order in which they come in. The first is the pair, which both jewellers want.
var demoSales = []demoSale{
	{"P1", demoJeweller, []string{"1", "2"}},
	{"P1", demoSecond, []string{"3"}},
	{"P1", demoJeweller, []string{"4"}},
	{"P1", demoJeweller, []string{"5"}},
	{"P1", demoSecond, []string{"6"}},
	{"P1", demoSecond, []string{"7"}},
	{"P1", demoJeweller, []string{"8"}},
	{"P1", demoSecond, []string{"9"}},
	{"P1", demoSecond, []string{"10"}},
	{"P2", demoJeweller, []string{"11"}},
	{"P2", demoJeweller, []string{"12"}},
	{"P2", demoSecond, []string{"13"}},
	{"P2", demoSecond, []string{"14"}},
	{"P2", demoJeweller, []string{"15"}},
	{"P2", demoSecond, []string{"16"}},
	{"P2", demoSecond, []string{"17"}},
	{"P3", demoJeweller, []string{"18", "19", "20"}},
	{"P3", demoSecond, []string{"21"}},
}

// The return, the runs and the copy that somebody changes.
const (
	demoReturned    = "6"
	demoReturnWhy   = "the setting it was meant for was changed"
	demoRejectedWhy = "built before the return of stone 6"

	demoTraced = "1"
	demoForged = "13" // its piece's field is changed to the first of demoFields
)
