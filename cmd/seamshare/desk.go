package main

import (
	"io"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
)

// adviserLine stands once where money is recorded, prepared or paid out.
const adviserLine = "Taxes and reporting differ by place: check with a licensed adviser."

// desk is the co-op's own service, called once.
type desk struct {
	call
	coopv1.CoopServiceClient
}

// deskCommand changes something at the desk and prints what came of it.
func deskCommand[T proto.Message](c *cobra.Command, s *session, do func(d desk) (T, error), show func(w io.Writer, a T) error) error {
	a, err := command(c.Context(), s, func(q call) (T, error) { return do(desk{q, coopv1.NewCoopServiceClient(q.conn)}) })
	if err != nil {
		return err
	}
	return s.answer(a, func(w io.Writer) error { return show(w, a) })
}

// deskQuery asks the desk and prints the answer.
func deskQuery[T proto.Message](c *cobra.Command, s *session, ask func(d desk) (T, error), show func(w io.Writer, a T) error) error {
	a, err := query(c.Context(), s, func(q call) (T, error) { return ask(desk{q, coopv1.NewCoopServiceClient(q.conn)}) })
	if err != nil {
		return err
	}
	return s.answer(a, func(w io.Writer) error { return show(w, a) })
}

// deskList is a command that prints one page of a list.
func deskList[T interface {
	proto.Message
	GetNextPageToken() string
}](s *session, use, short string, ask func(d desk, p *page) (T, error), show func(w io.Writer, a T) error) *cobra.Command {
	c := &cobra.Command{Use: use, Short: short, Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return deskQuery(c, s, func(d desk) (T, error) { return ask(d, p) }, func(w io.Writer, a T) error {
			err := show(w, a)
			more(w, a.GetNextPageToken())
			return err
		})
	}
	return c
}

// whyFlag is the reason that stays with the record.
func whyFlag(c *cobra.Command, into *string) {
	c.Flags().StringVar(into, "why", "", "the reason, which stays with the record")
	need(c, "why")
}

// or says so where there is nothing.
func or(text, none string) string {
	if text == "" {
		return none
	}
	return text
}
