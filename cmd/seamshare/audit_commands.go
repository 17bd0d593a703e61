package main

import (
	"cmp"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/amount"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/stream"
)

func (s *session) exceptionCommand() *cobra.Command {
	var closed bool
	list := deskList(s, "list", "List what doesn't add up, oldest first (desk)", func(d desk, p *page) (*coopv1.ListExceptionsResponse, error) {
		return d.ListExceptions(d.ctx, &coopv1.ListExceptionsRequest{PageSize: p.rows, PageToken: p.token, Closed: closed})
	}, func(w io.Writer, a *coopv1.ListExceptionsResponse) error {
		if len(a.GetExceptions()) == 0 {
			say(w, "No exceptions.")
		}
		for _, e := range a.GetExceptions() {
			printException(w, e)
		}
		return nil
	})
	list.Flags().BoolVar(&closed, "closed", false, "those that were looked into instead")
	var found string
	closeOne := &cobra.Command{
		Use:     "close EXCEPTION --found TEXT",
		Short:   "Say what was found out about an exception (desk)",
		Example: `  seamshare exception close EXCEPTION --found "the tray stood on another shelf"`,
		Args:    exactly("EXCEPTION"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.CloseExceptionResponse, error) {
				return d.CloseException(d.ctx, &coopv1.CloseExceptionRequest{RequestId: d.requestID, ExceptionId: args[0], Note: found})
			}, func(w io.Writer, a *coopv1.CloseExceptionResponse) error {
				sayLong(w, "Exception %s is closed.", a.GetExceptionId())
				return nil
			})
		},
	}
	closeOne.Flags().StringVar(&found, "found", "", "what was found out")
	need(closeOne, "found")
	return group("exception", "What doesn't add up", list, closeOne)
}

func printException(w io.Writer, e *coopv1.Exception) {
	sayLong(w, "%s: %s", plain(e.GetKind()), plain(e.GetWhat()))
	sayLong(w, "  exception %s", e.GetId())
	sayLong(w, "  of %s", e.GetThing())
	for _, m := range e.GetMemberIds() {
		sayLong(w, "  concerns member %s", m)
	}
	if e.GetClosedBy() != "" {
		sayLong(w, "  closed by %s: %s", e.GetClosedBy(), plain(e.GetNote()))
	}
}

func (s *session) auditCommand() *cobra.Command {
	parcels := deskList(s, "parcels", "List every parcel there is, oldest first (auditor)", func(d desk, p *page) (*coopv1.ListAllParcelsResponse, error) {
		return d.ListAllParcels(d.ctx, &coopv1.ListAllParcelsRequest{PageSize: p.rows, PageToken: p.token})
	}, printAuditRows)
	pieces := deskList(s, "pieces", "List every piece there is, oldest first (auditor)", func(d desk, p *page) (*coopv1.ListAllPiecesResponse, error) {
		return d.ListAllPieces(d.ctx, &coopv1.ListAllPiecesRequest{PageSize: p.rows, PageToken: p.token})
	}, printAuditRows)
	stones := deskList(s, "stones", "List every stone there is, oldest first (auditor)", func(d desk, p *page) (*coopv1.ListAllStonesResponse, error) {
		return d.ListAllStones(d.ctx, &coopv1.ListAllStonesRequest{PageSize: p.rows, PageToken: p.token})
	}, printAuditRows)
	orders := deskList(s, "orders", "List every order there is, oldest first (auditor)", func(d desk, p *page) (*coopv1.ListAllOrdersResponse, error) {
		return d.ListAllOrders(d.ctx, &coopv1.ListAllOrdersRequest{PageSize: p.rows, PageToken: p.token})
	}, printAuditRows)
	return group("audit", "Everything there is, for the auditor", parcels, pieces, stones, orders)
}

func printAuditRows[T interface{ GetRows() []*coopv1.AuditRow }](w io.Writer, a T) error {
	if len(a.GetRows()) == 0 {
		say(w, "There are none.")
	}
	for _, r := range a.GetRows() {
		line := r.GetThing()
		for _, more := range []string{plain(r.GetLabel()), r.GetStage(), amount.Text(r.GetAmount())} {
			if more != "" {
				line += ", " + more
			}
		}
		sayLong(w, "%s", line)
		for _, m := range r.GetMemberIds() {
			sayLong(w, "  concerns member %s", m)
		}
	}
	return nil
}

func (s *session) historyCommand() *cobra.Command {
	var facts bool
	c := &cobra.Command{
		Use:   "history THING",
		Short: "Show the records of a thing, with who decided them",
		Long: `Shows every record of a thing, such as parcel/ID, stone/ID, order/ID, person/ID or
payout/ID, with its number, when and by whom; at most the first 1000. What is
personal stays sealed. A bookkeeper sees the records of money, a stock keeper those
of masses and sizes: what they may have to correct.`,
		Example: "  seamshare history order/ID --facts",
		Args:    exactly("THING"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.GetHistoryResponse, error) {
				return d.GetHistory(d.ctx, &coopv1.GetHistoryRequest{Thing: args[0]})
			}, func(w io.Writer, a *coopv1.GetHistoryResponse) error {
				if len(a.GetRecords()) == 0 {
					say(w, "It has no record that you may have to correct.")
				}
				for _, r := range a.GetRecords() {
					printRecord(w, r, facts)
				}
				return nil
			})
		},
	}
	c.Flags().BoolVar(&facts, "facts", false, "also what each record says")
	return c
}

// happened says a record's event in the trade's words. One that this program doesn't know
// keeps its name.
func happened(event string) string { return cmp.Or(stream.Facts[event].Words, event) }

func printRecord(w io.Writer, r *coopv1.HistoryRecord, facts bool) {
	corrects := ""
	if r.GetCorrects() != 0 {
		corrects = ", corrects record " + fmt.Sprint(r.GetCorrects())
	}
	sayLong(w, "record %s, %s: %s%s", fmt.Sprint(r.GetPosition()), r.GetAt(), happened(r.GetEvent()), corrects)
	if r.GetPersonId() != "" {
		sayLong(w, "  by person %s for member %s", r.GetPersonId(), r.GetMemberId())
	}
	if r.GetAmount() != nil {
		sayLong(w, "  %s", amount.Text(r.GetAmount()))
	}
	for _, m := range r.GetMasses() {
		of := ""
		switch {
		case m.GetPart() != "":
			of = "part " + plain(m.GetPart())
			if m.GetWentIn() {
				of += " before the step"
			}
			of += ": "
		case m.GetStoneId() != "":
			of = "stone " + m.GetStoneId() + ": "
		}
		sayLong(w, "  %s%s (%s)", of, grams(m.GetWeighing()), carats(m.GetWeighing()))
	}
	if r.GetSize() != nil {
		sayLong(w, "  %s", size(r.GetSize()))
	}
	if facts && r.GetPublicJson() != "" {
		sayLong(w, "  public %s", plain(r.GetPublicJson()))
		sayLong(w, "  private %s", plain(r.GetPrivateJson()))
	}
}
