package main

import (
	"fmt"
	"io"
	"strconv"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/amount"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) correctionCommand() *cobra.Command {
	return group("correction", "Facts that were recorded wrong, and put right", s.correctAmountCommand(), s.correctMassCommand(), s.correctSizeCommand(),
		s.correctStoneCommand(), s.correctPieceCommand(), s.correctionConfirmCommand(), s.correctionRefuseCommand(), s.correctionListCommand())
}

// withCorrection is an answer about a correction.
type withCorrection interface{ GetCorrection() *coopv1.Correction }

func printCorrectionOf[T withCorrection](w io.Writer, a T) error {
	printCorrection(w, a.GetCorrection())
	return nil
}

func printCorrection(w io.Writer, c *coopv1.Correction) {
	sayLong(w, "Correction %s of record %d (%s): %s", c.GetId(), c.GetCorrects(), c.GetAbout(), c.GetStage())
	switch {
	case c.GetAmount() != nil && c.GetStoneId() != "":
		sayLong(w, "  the price of stone %s is %s", c.GetStoneId(), amount.Text(c.GetAmount()))
	case c.GetAmount() != nil:
		was := ""
		if c.GetWas() != nil {
			was = ", in place of " + amount.Text(c.GetWas())
		}
		sayLong(w, "  the amount is %s%s", amount.Text(c.GetAmount()), was)
	case c.GetWeighing() != nil:
		part := ""
		switch {
		case c.GetPart() != "":
			if part = " of part " + plain(c.GetPart()); c.GetWentIn() {
				part += " before the step"
			}
		case c.GetStoneId() != "":
			part = " of stone " + c.GetStoneId()
		}
		sayLong(w, "  the mass%s is %s (%s)", part, grams(c.GetWeighing()), carats(c.GetWeighing()))
		if c.GetTotal() != nil {
			sayLong(w, "  the parcel's total is %s (%s)", grams(c.GetTotal()), carats(c.GetTotal()))
		}
	case c.GetSize() != nil:
		sayLong(w, "  the size is %s", size(c.GetSize()))
	case c.GetStone() != nil:
		printCorrectedStone(w, c.GetStone())
	case c.GetPiece() != nil:
		claim := c.GetPiece().GetClaimId()
		if claim == "" {
			claim = "none, its field is not shown"
		}
		sayLong(w, "  kind %s, claim: %s", word(c.GetPiece().GetKind()), claim)
	}
	sayLong(w, "  by %s: %s", c.GetProposedBy(), plain(c.GetReason()))
	if ug := c.GetUnexplainedUg(); ug != 0 {
		sayLong(w, "  It was weighed more than once, and those weighings stay as they are: %s more is unexplained now.", signed(ug))
	}
	if c.GetDecidedBy() != "" {
		sayLong(w, "  second person %s", c.GetDecidedBy())
	}
}

// printCorrectedStone says what the stone is, as far as the record that was wrong does.
func printCorrectedStone(w io.Writer, st *coopv1.CorrectedStone) {
	if st.GetOutline() != 0 {
		sayLong(w, "  outline %s", word(st.GetOutline()))
	}
	if st.GetTreatment() != 0 {
		sayLong(w, "  %s, treatment: %s; takes up water: %s; assembled: %s", word(st.GetKind()), treatmentWords(st.GetTreatment()), word(st.GetHydrophane()), word(st.GetComposite()))
	}
}

// recordHelp says where a record's number comes from.
const recordHelp = "RECORD is the number of the record that is wrong, as it was printed when it was recorded, or as seamshare history shows it."

func parseRecord(text string) (uint64, error) {
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil || n == 0 {
		return 0, wrongInput("RECORD", "seamshare history shows the records of a thing", "%q: write a record's number, such as 412", text)
	}
	return n, nil
}

func (s *session) correctAmountCommand() *cobra.Command {
	var stone, why string
	c := &cobra.Command{
		Use:   "amount RECORD AMOUNT --why TEXT",
		Short: "Correct a receipt, a cost or a price (bookkeeper)",
		Long: `Corrects money: what came in for a parcel or an order, a cost, or with --stone a
stone's price in an order. The shares move by the difference. Where a member was
paid since, it waits for a second person.

` + recordHelp + `

` + adviserLine,
		Example: "  seamshare correction amount 412 \"250.00 AUD\" --why \"read 260 for 250\"\n  seamshare correction amount 430 \"740.00 AUD\" --stone STONE --why \"wrong stone\"",
		Args:    exactly("RECORD", "AMOUNT"),
		RunE: func(c *cobra.Command, args []string) error {
			record, err := parseRecord(args[0])
			if err != nil {
				return err
			}
			right, err := parseAmount(args[1])
			if err != nil {
				return wrongInput("AMOUNT", "", "%v", err)
			}
			return deskCommand(c, s, func(d desk) (*coopv1.CorrectAmountResponse, error) {
				return d.CorrectAmount(d.ctx, &coopv1.CorrectAmountRequest{RequestId: d.requestID, Corrects: record, StoneId: stone, Amount: right, Reason: why})
			}, printCorrectionOf)
		},
	}
	c.Flags().StringVar(&stone, "stone", "", "the `id` of the stone or lot whose price in the order is wrong")
	whyFlag(c, &why)
	return c
}

func (s *session) correctMassCommand() *cobra.Command {
	var part, stone, why string
	var wentIn bool
	var division, total measure.Mass
	c := &cobra.Command{
		Use:   "mass RECORD MASS --why TEXT",
		Short: "Correct a mass that was recorded wrong (stock keeper)",
		Long: `Corrects the mass of a piece as listed, of a part after a bench step (with --went-in
before it, where it was weighed again), of a stone as it was finished or cut again, of
a counted lot, or what a stock count found. What the parcel's mass comes to moves with
it, and steps that went on from it without weighing follow. A parcel's total is
corrected by its listing's record, or with --total together with a piece: pieces and
total have to add up.

Also what rough weighed at its handover, as it went out for a viewing or came back,
and with --stone what a stone of an order weighed as it was sent or came. Nothing in
the books moves with that, but where it differs no more, the exception is gone.

` + recordHelp,
		Example: `  seamshare correction mass 420 "1.42 g" --part 1AP --why "read 1.24 for 1.42"`,
		Args:    exactly("RECORD", "MASS"),
		RunE: func(c *cobra.Command, args []string) error {
			record, err := parseRecord(args[0])
			if err != nil {
				return err
			}
			mass, err := parseMass(args[1])
			if err != nil {
				return wrongInput("MASS", "", "%v", err)
			}
			return deskCommand(c, s, func(d desk) (*coopv1.CorrectMassResponse, error) {
				r := &coopv1.CorrectMassRequest{RequestId: d.requestID, Corrects: record, Part: part, WentIn: wentIn, StoneId: stone, Weighing: weighing(mass, division), Reason: why}
				if total > 0 {
					r.Total = weighing(total, division)
				}
				return d.CorrectMass(d.ctx, r)
			}, printCorrectionOf)
		},
	}
	c.Flags().StringVar(&part, "part", "", "the part, where the record is a bench step")
	c.Flags().BoolVar(&wentIn, "went-in", false, "it is what went into the step, weighed again before it")
	c.Flags().Var(&parsed[measure.Mass]{into: &total, parse: parseMass, kind: "mass"}, "total", "the parcel's right total too, with a piece as listed")
	c.Flags().StringVar(&stone, "stone", "", "the `id` of the stone, where the record is of an order sent or received")
	scaleFlag(c, &division, "0.01 g")
	whyFlag(c, &why)
	return c
}

func (s *session) correctSizeCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "size RECORD SIZE --why TEXT",
		Short:   "Correct the size of a piece or stone (stock keeper)",
		Long:    "Corrects the length, width and depth of a piece or stone.\n\n" + recordHelp,
		Example: `  seamshare correction size 431 "12x9x3.1 mm" --why "depth was misread"`,
		Args:    exactly("RECORD", "SIZE"),
		RunE: func(c *cobra.Command, args []string) error {
			record, err := parseRecord(args[0])
			if err != nil {
				return err
			}
			right, err := parseSize(args[1])
			if err != nil {
				return wrongInput("SIZE", "", "%v", err)
			}
			return deskCommand(c, s, func(d desk) (*coopv1.CorrectSizeResponse, error) {
				return d.CorrectSize(d.ctx, &coopv1.CorrectSizeRequest{RequestId: d.requestID, Corrects: record, Size: right, Reason: why})
			}, printCorrectionOf)
		},
	}
	whyFlag(c, &why)
	return c
}

func (s *session) correctStoneCommand() *cobra.Command {
	r := &coopv1.CorrectStoneRequest{}
	c := &cobra.Command{
		Use:   "stone STONE --why TEXT",
		Short: "Correct what you said that a stone is (cutter)",
		Long: `Asks for a correction of what you said of your stone: its treatment, outline or kind,
whether it takes up water or is assembled. What isn't named stays. An approver confirms
or refuses it. Then filters and lists say what is right, the stone's chain says both, and
the jeweller who has the stone, holds it or has ordered it sees it under today.`,
		Example: `  seamshare correction stone STONE --treatment resin --why "a crack was filled"`,
		Args:    exactly("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.CorrectStoneResponse, error) {
				r.RequestId, r.StoneId = d.requestID, args[0]
				return d.CorrectStone(d.ctx, r)
			}, printCorrectionOf)
		},
	}
	wordFlag(c, &r.Treatment, "treatment", "what was done to it")
	wordFlag(c, &r.Outline, "outline", "its outline")
	wordFlag(c, &r.Kind, "kind", "what kind of opal")
	wordFlag(c, &r.Hydrophane, "hydrophane", "whether it takes up water")
	wordFlag(c, &r.Composite, "composite", "whether it is assembled")
	whyFlag(c, &r.Reason)
	return c
}

func (s *session) correctPieceCommand() *cobra.Command {
	r := &coopv1.CorrectPieceRequest{}
	var claim string
	var notShown bool
	c := &cobra.Command{
		Use:   "piece PIECE --why TEXT",
		Short: "Correct the claim or kind that you said of a piece (miner)",
		Long: `Asks for a correction of what you said of your piece: the claim that it comes from, or
its kind. An approver confirms or refuses it. Then all that comes of the piece follows:
what was taken out of a group, pieces of newer parcels, and stones. Their chains say
both. Where a piece was listed without its field, that stays so.`,
		Example: "  seamshare correction piece PIECE --claim CLAIM --why \"two bags were swapped\"\n  seamshare correction piece PIECE --field-not-shown --why \"two bags were mixed\"",
		Args:    exactly("PIECE"),
		RunE: func(c *cobra.Command, args []string) error {
			if claim != "" && notShown {
				return wrongInput("--field-not-shown", "leave one of them out", "with --claim: a piece comes from a claim, or its field is not shown")
			}
			if claim != "" || notShown {
				r.ClaimId = &claim
			}
			return deskCommand(c, s, func(d desk) (*coopv1.CorrectPieceResponse, error) {
				r.RequestId, r.PieceId = d.requestID, args[0]
				return d.CorrectPiece(d.ctx, r)
			}, printCorrectionOf)
		},
	}
	c.Flags().StringVar(&claim, "claim", "", "the `id` of the claim that it comes from")
	c.Flags().BoolVar(&notShown, "field-not-shown", false, "nobody knows after all which claim it comes from")
	wordFlag(c, &r.Kind, "kind", "what kind of opal")
	whyFlag(c, &r.Reason)
	return c
}

func (s *session) correctionConfirmCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "confirm CORRECTION",
		Short:   "Let a correction that waits happen, as another person (approver)",
		Long:    "Lets a correction of money that was paid out happen, or one of what a stone or a piece\nwas said to be, as a second person. " + adviserLine,
		Example: "  seamshare correction confirm CORRECTION",
		Args:    exactly("CORRECTION"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.ConfirmCorrectionResponse, error) {
				return d.ConfirmCorrection(d.ctx, &coopv1.ConfirmCorrectionRequest{RequestId: d.requestID, CorrectionId: args[0]})
			}, printCorrectionOf)
		},
	}
}

func (s *session) correctionRefuseCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "refuse CORRECTION --why TEXT",
		Short:   "End a correction that waits, as another person (approver)",
		Example: `  seamshare correction refuse CORRECTION --why "the bank's paper says otherwise"`,
		Args:    exactly("CORRECTION"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.RefuseCorrectionResponse, error) {
				return d.RefuseCorrection(d.ctx, &coopv1.RefuseCorrectionRequest{RequestId: d.requestID, CorrectionId: args[0], Reason: why})
			}, printCorrectionOf)
		},
	}
	whyFlag(c, &why)
	return c
}

func (s *session) correctionListCommand() *cobra.Command {
	return deskList(s, "list", "List all corrections, oldest first (desk)", func(d desk, p *page) (*coopv1.ListCorrectionsResponse, error) {
		return d.ListCorrections(d.ctx, &coopv1.ListCorrectionsRequest{PageSize: p.rows, PageToken: p.token})
	}, func(w io.Writer, a *coopv1.ListCorrectionsResponse) error {
		if len(a.GetCorrections()) == 0 {
			say(w, "No corrections.")
		}
		for _, c := range a.GetCorrections() {
			printCorrection(w, c)
		}
		return nil
	})
}

// signed is a difference with its sign.
func signed(ug int64) string {
	if ug > 0 {
		return fmt.Sprintf("+%s", both(ug))
	}
	return both(ug)
}
