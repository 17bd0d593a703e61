package main

import (
	"io"
	"strings"

	"github.com/spf13/cobra"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/wire"
)

func (s *session) pieceStudyCommand() *cobra.Command {
	var r cutterv1.StudyPieceRequest
	var dry, wet []string
	var light, drawing string
	c := &cobra.Command{
		Use:   "study PIECE [--seen TEXT --drawing FILE --photo FILE …]",
		Short: "Keep what you learnt of a piece by looking at it",
		Long: `Keeps a study of a piece: its dimensions as you measured them, photos with their
light, what is seen or only supposed, and notes of your own. A piece may have
several studies, as one for each light; all are kept. A photo is a JPEG or PNG
file, or the SHA-256 of one that was named before. A drawing is what plans are
measured on.`,
		Example: `  seamshare piece study PIECE --size "46x31x14 mm" --photo face.jpg \
    --photo-wet face-wet.jpg --light "daylight, overcast" \
    --seen "bar 1.3 mm, a second one supposed below" --note "candled"`,
		Args: exactly("PIECE"),
		RunE: func(c *cobra.Command, args []string) error {
			if len(dry)+len(wet) > 0 && light == "" {
				return wrongUsage("--light", "say it, such as --light \"daylight, overcast\"", "is needed where there is a photo")
			}
			return change(c, s, func(q call) (*cutterv1.StudyPieceResponse, error) {
				r.RequestId, r.PieceId = q.requestID, args[0]
				if drawing != "" {
					f, err := s.readPlanFile(drawing)
					if err != nil {
						return nil, err
					}
					if !f.HasPiece() {
						return nil, wrongInput(drawing, planFilesHint, "the file has no piece")
					}
					r.Drawing = wire.Drawing(f.Study)
				}
				for i, file := range append(dry, wet...) {
					photo, err := s.photoNamed(q, file, light, i >= len(dry))
					if err != nil {
						return nil, err
					}
					r.Photos = append(r.Photos, photo)
				}
				return cutterv1.NewCutterServiceClient(q.conn).StudyPiece(q.ctx, &r)
			}, showPiece)
		},
	}
	f := c.Flags()
	f.StringVar(&r.Seen, "seen", "", "what is seen or supposed")
	sizeFlag(c, &r.Size, "size", "its longest dimensions, as you measured them")
	f.StringArrayVar(&dry, "photo", nil, "a photo, taken dry: a `file`; again for each")
	f.StringArrayVar(&wet, "photo-wet", nil, "a photo, taken wet: a `file`; again for each")
	f.StringVar(&drawing, "drawing", "", "the piece as drawn in a plan `file`: see seamshare help plan-files")
	f.StringVar(&light, "light", "", "the light they were taken in")
	f.StringVar(&r.Note, "note", "", "a note for your own use")
	return c
}

// ofPiece is an answer that shows a piece.
type ofPiece interface{ GetPiece() *typev1.Piece }

func showPiece[A ofPiece](w io.Writer, a A) error { return printPiece(w, a.GetPiece()) }

func (s *session) pieceAwaitCommand() *cobra.Command {
	var r cutterv1.AwaitDecisionRequest
	c := &cobra.Command{
		Use:     "await PIECE PART --reason TEXT",
		Short:   "Let a part wait until something is decided",
		Example: `  seamshare piece await PIECE 1A --reason "cut through the crack, or beside it?"`,
		Args:    exactly("PIECE", "PART"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.AwaitDecisionResponse, error) {
				r.RequestId, r.PieceId, r.Part = q.requestID, args[0], args[1]
				return cutterv1.NewCutterServiceClient(q.conn).AwaitDecision(q.ctx, &r)
			}, showPiece)
		},
	}
	c.Flags().StringVar(&r.Reason, "reason", "", "what there is to decide")
	etagFlag(c, &r.Etag, "piece")
	need(c, "reason")
	return c
}

func (s *session) pieceDecideCommand() *cobra.Command {
	var r cutterv1.DecideRequest
	c := &cobra.Command{
		Use:     "decide PIECE PART --decision TEXT",
		Short:   "Say what was decided; the part goes on in work",
		Example: `  seamshare piece decide PIECE 1A --decision "beside it: one stone, surely"`,
		Args:    exactly("PIECE", "PART"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.DecideResponse, error) {
				r.RequestId, r.PieceId, r.Part = q.requestID, args[0], args[1]
				return cutterv1.NewCutterServiceClient(q.conn).Decide(q.ctx, &r)
			}, showPiece)
		},
	}
	c.Flags().StringVar(&r.Decision, "decision", "", "what was decided")
	etagFlag(c, &r.Etag, "piece")
	need(c, "decision")
	return c
}

func (s *session) pieceGradeCommand() *cobra.Command {
	r := cutterv1.GradePartRequest{Grade: &typev1.Grade{}}
	c := &cobra.Command{
		Use:   "grade PIECE PART --why TEXT [--pattern WORD …]",
		Short: "Revise what a part is expected to grade",
		Long: `Revises the grade expected of a part, at any step: all of it is given anew, what is
left out is not judged. A grade has no total and is no price.`,
		Example: `  seamshare piece grade PIECE 1A --body-tone 3 --pattern broad-flash \
    --brightness strong --class top --why "the window shows more than thought"`,
		Args: exactly("PIECE", "PART"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.GradePartResponse, error) {
				r.RequestId, r.PieceId, r.Part = q.requestID, args[0], args[1]
				return cutterv1.NewCutterServiceClient(q.conn).GradePart(q.ctx, &r)
			}, showPiece)
		},
	}
	gradeFlags(c, r.Grade, &r.Class)
	c.Flags().StringVar(&r.Why, "why", "", "why")
	etagFlag(c, &r.Etag, "piece")
	need(c, "why")
	return c
}

// parseBatch reads "PIECE=1A,1B" for each piece.
func parseBatch(args []string) ([]*cutterv1.BatchPart, error) {
	var parts []*cutterv1.BatchPart
	for _, arg := range args {
		piece, names, ok := strings.Cut(arg, "=")
		for name := range strings.SplitSeq(names, ",") {
			name = strings.TrimSpace(name)
			if !ok || piece == "" || name == "" {
				return nil, wrongInput("PIECE=PARTS", "", "%q: write the piece, =, and its parts, such as PIECE=1A,1B", arg)
			}
			parts = append(parts, &cutterv1.BatchPart{PieceId: piece, Part: name})
		}
	}
	return parts, nil
}

// ofPieces is an answer that shows several pieces.
type ofPieces interface{ GetPieces() []*typev1.Piece }

func showPieces[A ofPieces](w io.Writer, a A) error {
	for i, p := range a.GetPieces() {
		if i > 0 {
			say(w, "")
		}
		if err := printPiece(w, p); err != nil {
			return err
		}
	}
	return nil
}

func (s *session) pieceLookAgainCommand() *cobra.Command {
	var note string
	c := &cobra.Command{
		Use:   "look-again PIECE=PARTS…",
		Short: "Record the second look at a batch: each part is what its tray says",
		Long: `Records the second look at the end of a batch: you looked at each of these parts
again, and each is the one that its tray or dop says. If one may not be, say so
with seamshare piece mixed-up.`,
		Example: `  seamshare piece look-again PIECE-1=1A,1B PIECE-2=2A --note "trays 3 to 5"`,
		Args:    atLeastOne("PIECE=PARTS"),
		RunE: func(c *cobra.Command, args []string) error {
			parts, err := parseBatch(args)
			if err != nil {
				return err
			}
			return change(c, s, func(q call) (*cutterv1.LookAgainResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).LookAgain(q.ctx, &cutterv1.LookAgainRequest{RequestId: q.requestID, Parts: parts, Note: note})
			}, showPieces)
		},
	}
	c.Flags().StringVar(&note, "note", "", "what was seen")
	return c
}

func (s *session) pieceMixedUpCommand() *cobra.Command {
	var note string
	c := &cobra.Command{
		Use:   "mixed-up PIECE=PARTS… --note TEXT",
		Short: "Say that parts were mixed up: each may be any of them",
		Long: `Says that two parts or more of one parcel were mixed up, so that each may be any of
them. The chain of every stone cut of them shows it ever after. An honest word
costs less than a wrong origin.`,
		Example: `  seamshare piece mixed-up PIECE-1=1B PIECE-2=2B --note "both off one dop board"`,
		Args:    atLeastOne("PIECE=PARTS"),
		RunE: func(c *cobra.Command, args []string) error {
			parts, err := parseBatch(args)
			if err != nil {
				return err
			}
			return change(c, s, func(q call) (*cutterv1.ReportMixUpResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).ReportMixUp(q.ctx, &cutterv1.ReportMixUpRequest{RequestId: q.requestID, Parts: parts, Note: note})
			}, showPieces)
		},
	}
	c.Flags().StringVar(&note, "note", "", "how it came about")
	need(c, "note")
	return c
}
