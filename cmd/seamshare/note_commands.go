package main

import (
	"io"

	"github.com/spf13/cobra"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
)

func (s *session) noteCommand() *cobra.Command {
	return group("note", "Notes of your own about parcels you look at (cutter)", s.noteAddCommand(), s.noteListCommand())
}

func (s *session) noteAddCommand() *cobra.Command {
	var piece string
	c := &cobra.Command{
		Use:     "add PARCEL TEXT",
		Short:   "Keep a note about a parcel; nobody else sees it (cutter)",
		Example: `  seamshare note add PARCEL "bar runs on under the rock" --piece PIECE`,
		Args:    exactly("PARCEL", "TEXT"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.NoteInspectionResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).NoteInspection(q.ctx, &cutterv1.NoteInspectionRequest{RequestId: q.requestID, ParcelId: args[0], PieceId: piece, Text: args[1]})
			}, func(w io.Writer, _ *cutterv1.NoteInspectionResponse) error {
				say(w, "Noted. Nobody else sees it.")
				return nil
			})
		},
	}
	c.Flags().StringVar(&piece, "piece", "", "the `id` of the piece that it is about")
	return c
}

func (s *session) noteListCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "list PARCEL",
		Short:   "List your notes about a parcel, oldest first (cutter)",
		Example: `  seamshare note list PARCEL`,
		Args:    exactly("PARCEL"),
	}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		return look(c, s, func(q call) (*cutterv1.ListMyNotesResponse, error) {
			return cutterv1.NewCutterServiceClient(q.conn).ListMyNotes(q.ctx, &cutterv1.ListMyNotesRequest{ParcelId: args[0], PageSize: p.rows, PageToken: p.token})
		}, func(w io.Writer, a *cutterv1.ListMyNotesResponse) error {
			if len(a.GetNotes()) == 0 {
				say(w, "No notes.")
			}
			for _, n := range a.GetNotes() {
				about := "The whole parcel"
				if n.GetPieceId() != "" {
					about = "Piece " + n.GetPieceId()
				}
				sayLong(w, "%s: %s", about, plain(n.GetText()))
			}
			more(w, a.GetNextPageToken())
			return nil
		})
	}
	return c
}
