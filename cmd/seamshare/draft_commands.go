package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/piecelist"
	"seamshare.example/cmd/seamshare/internal/table"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

func (s *session) draftCommand() *cobra.Command {
	return group("draft", "Listings that aren't complete yet; nobody else sees them (miner)",
		s.draftNewCommand(), s.draftChangeCommand(), s.draftShowCommand(), s.draftListCommand(),
		s.draftDiscardCommand(), s.draftPublishCommand())
}

// drafted is what the flags say of a draft, read before the server is asked. What wasn't given stays as it is.
type drafted struct {
	listing
	pieces   []piecelist.Piece
	proposed *typev1.Agreement
	given    func(flag string) bool
}

func (s *session) readDrafted(c *cobra.Command, l listing) (d drafted, err error) {
	d = drafted{listing: l, given: c.Flags().Changed}
	if d.given("from") {
		if d.pieces, err = s.readPieces(l.from, piecelist.Options{Form: piecelist.Draft, ByteOrderMark: l.allowBOM}); err != nil {
			return d, err
		}
	}
	if d.given("agreement") {
		d.proposed, err = s.readAgreement(l.agreement)
	}
	return d, err
}

// put changes a draft by what was given.
func (d *drafted) put(s *session, q call, draft *minerv1.Draft) error {
	if d.given("from") {
		claims, err := s.claims(q.ctx, q)
		if err != nil {
			return asFailure(err) // nothing was sent yet that changes anything
		}
		lines, err := newPieces(d.pieces, d.scale, claims)
		if err != nil {
			return err
		}
		draft.Pieces = draftLines(lines)
	}
	for _, f := range []struct {
		flag string
		set  func()
	}{
		{"label", func() { draft.Label = d.label }},
		{"total", func() { draft.Total = weighing(d.total, d.scale) }},
		{"treatment", func() { draft.Treatment = d.treatment }},
		{"kept-wet", func() { draft.KeptWet = d.keptWet }},
		{"mined", func() { draft.Mined = d.mined }},
		{"split", func() { draft.Split = d.split }},
		{"open-at-asking", func() { draft.OpenAtAsking = d.openAtAsking }},
		{"agreement", func() { draft.Agreement = d.proposed }},
		{"note", func() { draft.Note = d.note }},
	} {
		if d.given(f.flag) {
			f.set()
		}
	}
	return nil
}

func draftLines(lines []*minerv1.NewPiece) []*minerv1.DraftLine {
	out := make([]*minerv1.DraftLine, len(lines))
	for i, l := range lines {
		out[i] = &minerv1.DraftLine{
			Label: l.GetLabel(), Weighing: l.GetWeighing(), Size: l.GetSize(), Kind: l.GetKind(), Count: l.GetCount(),
			ClaimId: l.GetClaimId(), Seen: l.GetSeen(), SmallestUm: l.GetSmallestUm(), LargestUm: l.GetLargestUm(),
		}
	}
	return out
}

func listedLines(lines []*minerv1.DraftLine) []*minerv1.NewPiece {
	out := make([]*minerv1.NewPiece, len(lines))
	for i, l := range lines {
		out[i] = &minerv1.NewPiece{
			Label: l.GetLabel(), Weighing: l.GetWeighing(), Size: l.GetSize(), Kind: l.GetKind(), Count: l.GetCount(),
			ClaimId: l.GetClaimId(), Seen: l.GetSeen(), SmallestUm: l.GetSmallestUm(), LargestUm: l.GetLargestUm(),
		}
	}
	return out
}

func (s *session) draftNewCommand() *cobra.Command {
	var l listing
	c := &cobra.Command{
		Use:   "new [--label NAME] [--from FILE.csv] …",
		Short: "Begin a listing, as far as you have come with it (miner)",
		Long: `Begins a listing, with as much of it as you know. Columns and cells of the CSV file may
be missing. Everything is checked when it is put on the market (seamshare draft
publish); until then nobody else sees it.`,
		Example: `  seamshare draft new --label P1 --from pieces.csv --mined 2030`,
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			d, err := s.readDrafted(c, l)
			if err != nil {
				return err
			}
			return change(c, s, func(q call) (*minerv1.SaveDraftResponse, error) {
				draft := &minerv1.Draft{}
				if err := d.put(s, q, draft); err != nil {
					return nil, err
				}
				return minerv1.NewMinerServiceClient(q.conn).SaveDraft(q.ctx, &minerv1.SaveDraftRequest{RequestId: q.requestID, Draft: draft})
			}, printSaved)
		},
	}
	l.flags(c)
	return c
}

func (s *session) draftChangeCommand() *cobra.Command {
	var l listing
	c := &cobra.Command{
		Use:   "change DRAFT [--total MASS] …",
		Short: "Go on with a draft: what you give replaces what was there (miner)",
		Long: `Goes on with a draft. What you give replaces what was there; what you leave out stays.
--from replaces all its pieces.`,
		Example: `  seamshare draft change DRAFT --total "65.05 g" --treatment not-known`,
		Args:    exactly("DRAFT"),
		RunE: func(c *cobra.Command, args []string) error {
			d, err := s.readDrafted(c, l)
			if err != nil {
				return err
			}
			return change(c, s, func(q call) (*minerv1.SaveDraftResponse, error) {
				draft, err := theDraft(q, args[0])
				if err != nil {
					return nil, err
				}
				if err := d.put(s, q, draft); err != nil {
					return nil, err
				}
				return minerv1.NewMinerServiceClient(q.conn).SaveDraft(q.ctx, &minerv1.SaveDraftRequest{RequestId: q.requestID, ParcelId: args[0], Draft: draft})
			}, printSaved)
		},
	}
	l.flags(c)
	return c
}

// theDraft is a draft as it is now, before a command that needs all of it.
func theDraft(q call, id string) (*minerv1.Draft, error) {
	a, err := minerv1.NewMinerServiceClient(q.conn).GetDraft(q.ctx, &minerv1.GetDraftRequest{ParcelId: id})
	if err != nil {
		return nil, asFailure(err) // nothing was sent yet that changes anything
	}
	return a.GetDraft(), nil
}

func printSaved(w io.Writer, a *minerv1.SaveDraftResponse) error {
	say(w, "Draft %s is kept. To look at it: seamshare draft show.", a.GetParcel().GetId())
	return nil
}

func (s *session) draftShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show DRAFT",
		Short:   "Look at a draft, all of it (miner)",
		Example: `  seamshare draft show DRAFT`,
		Args:    exactly("DRAFT"),
		RunE: func(c *cobra.Command, args []string) error {
			return look(c, s, func(q call) (*minerv1.GetDraftResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).GetDraft(q.ctx, &minerv1.GetDraftRequest{ParcelId: args[0]})
			}, func(w io.Writer, a *minerv1.GetDraftResponse) error { return printDraft(w, args[0], a.GetDraft()) })
		},
	}
}

func printDraft(w io.Writer, id string, d *minerv1.Draft) error {
	say(w, "Draft %s", id)
	for _, f := range []struct{ name, value string }{
		{"label", d.GetLabel()},
		{"total", grams(d.GetTotal())},
		{"treatment", treatmentWords(d.GetTreatment())},
		{"mined", d.GetMined()},
		{"split", d.GetSplit()},
		{"note", d.GetNote()},
	} {
		value := f.value
		if value == "" {
			value = "-"
		}
		sayLong(w, "  %s: %s", f.name, plain(value))
	}
	if d.GetKeptWet() {
		say(w, "  The rough is kept wet.")
	}
	if d.GetOpenAtAsking() {
		say(w, "  The first to take it at the asking price gets it.")
	}
	t := table.New(wrapped("piece"), right("mass"), text("kind"), right("count"), text("size"), wrapped("claim"), wrapped("seen"))
	for _, l := range d.GetPieces() {
		claim := l.GetClaimId()
		if claim == "" {
			claim = "not shown"
		}
		dimensions := size(l.GetSize())
		if l.GetLargestUm() > 0 {
			dimensions = sizeRange(l.GetSmallestUm(), l.GetLargestUm())[len(", "):]
		}
		t.Row(l.GetLabel(), grams(l.GetWeighing()), word(l.GetKind()), fmt.Sprint(l.GetCount()), dimensions, claim, l.GetSeen())
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	if d.GetAgreement() == nil {
		return nil
	}
	say(w, "")
	return printAgreement(w, d.GetAgreement())
}

func (s *session) draftListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List your drafts, oldest first (miner)", Example: `  seamshare draft list`, Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*minerv1.ListDraftsResponse, error) {
			return minerv1.NewMinerServiceClient(q.conn).ListDrafts(q.ctx, &minerv1.ListDraftsRequest{PageSize: p.rows, PageToken: p.token})
		}, func(w io.Writer, a *minerv1.ListDraftsResponse) error {
			return printParcels(w, a.GetParcels(), a.GetNextPageToken())
		})
	}
	return c
}

func (s *session) draftDiscardCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "discard DRAFT",
		Short:   "End a draft that was never listed (miner)",
		Example: `  seamshare draft discard DRAFT`,
		Args:    exactly("DRAFT"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.DiscardDraftResponse, error) {
				return minerv1.NewMinerServiceClient(q.conn).DiscardDraft(q.ctx, &minerv1.DiscardDraftRequest{RequestId: q.requestID, ParcelId: args[0]})
			}, func(w io.Writer, a *minerv1.DiscardDraftResponse) error {
				say(w, "Draft %s is discarded.", a.GetParcel().GetId())
				return nil
			})
		},
	}
}

func (s *session) draftPublishCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "publish DRAFT",
		Short: "Put a draft on the market (miner)",
		Long: `Puts a draft on the market. Now everything is checked as with seamshare parcel list;
what is missing or wrong is said, and the draft stays as it is.`,
		Example: `  seamshare draft publish DRAFT`,
		Args:    exactly("DRAFT"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*minerv1.PublishParcelResponse, error) {
				d, err := theDraft(q, args[0])
				if err != nil {
					return s.published(q, args[0], err)
				}
				return minerv1.NewMinerServiceClient(q.conn).PublishParcel(q.ctx, &minerv1.PublishParcelRequest{
					RequestId: q.requestID, DraftId: args[0], Label: d.GetLabel(), Pieces: listedLines(d.GetPieces()), Total: d.GetTotal(),
					Treatment: d.GetTreatment(), KeptWet: d.GetKeptWet(), Mined: d.GetMined(), Split: d.GetSplit(),
					OpenAtAsking: d.GetOpenAtAsking(), Agreement: d.GetAgreement(), Note: d.GetNote(),
				})
			}, func(w io.Writer, a *minerv1.PublishParcelResponse) error { return printParcel(w, a.GetParcel()) })
		},
	}
}

// published answers a repeat under the same request id: a draft that was put on the market is a draft no more, so that the
// request can't be made again. err is why the draft can't be had.
func (s *session) published(q call, id string, err error) (*minerv1.PublishParcelResponse, error) {
	if s.requestID == "" {
		return nil, err
	}
	a, notThere := minerv1.NewMinerServiceClient(q.conn).GetParcel(q.ctx, &minerv1.GetParcelRequest{ParcelId: id})
	if state := a.GetParcel().GetState(); notThere != nil || state == typev1.ParcelState_PARCEL_STATE_DRAFT || state == typev1.ParcelState_PARCEL_STATE_DISCARDED {
		return nil, err
	}
	return &minerv1.PublishParcelResponse{Parcel: a.GetParcel(), Position: a.GetPosition()}, nil
}
