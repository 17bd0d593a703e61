package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
)

func (s *session) statusCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "status",
		Short: "Ask the node how it stands, and for the co-op's verifier key",
		Long: `Asks the node you are signed in to how far it is and whether it works, and prints
the verifier key with which anyone can check a stone's chain. A node can say any key:
hold it against the one that the co-op publishes.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			a, err := query(c.Context(), s, func(q call) (*coopv1.GetStatusResponse, error) {
				return coopv1.NewNodeServiceClient(q.conn).GetStatus(q.ctx, &coopv1.GetStatusRequest{})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printStatus(w, a) })
		},
	}
}

func printStatus(w io.Writer, a *coopv1.GetStatusResponse) error {
	say(w, "Co-op %s at record %d, commit %d.", plain(a.GetCoopId()), a.GetPosition(), a.GetSequence())
	if a.GetTrouble() == "" {
		say(w, "It works.")
	} else {
		sayLong(w, "It refuses to work: %s", plain(a.GetTrouble()))
	}
	if a.GetVerifierKey() == "" {
		say(w, "It signs nothing; ask the co-op's node that does for the verifier key.")
	} else {
		say(w, "verifier key %s", plain(a.GetVerifierKey()))
	}
	t := table.New(text("view"), right("at record"))
	for _, v := range a.GetViews() {
		t.Row(v.GetName(), fmt.Sprint(v.GetPosition()))
	}
	_, err := t.WriteTo(w)
	return err
}
