package cutter

import (
	"context"
	"strings"
	"time"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// onBench is a piece of a parcel in the cutter's hands.
type onBench struct {
	lot     *parcel.State
	pieceID string
}

// ListBench implements cutterv1.CutterServiceServer. It loads one stream for each parcel
// and piece of a page, and one for each stone of those pieces.
func (s *Server) ListBench(ctx context.Context, req *cutterv1.ListBenchRequest) (*cutterv1.ListBenchResponse, error) {
	me, out := access.Caller(ctx).Member, &cutterv1.ListBenchResponse{}
	found, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]onBench, string, error) {
			return benchAfter(q, me, after, limit)
		},
		func(q *eventstore.Query, at onBench) ([]*cutterv1.BenchLine, error) {
			rough, _, err := eventstore.Load(q, stream.Piece, at.pieceID)
			if err != nil {
				return nil, err
			}
			settings, err := command.Settings(q, s.node.Coop(), q.Now())
			if err != nil {
				return nil, err
			}
			return benchLines(q, at.lot, rough, settings.Wait())
		})
	if err != nil {
		return nil, err
	}
	for _, lines := range found {
		out.Lines = append(out.Lines, lines...)
	}
	out.NextPageToken, out.Position = next, position
	return out, nil
}

// maxParcelsRead is how many parcels one page of the bench looks at: most of a busy
// cutter's are closed, and a page ends nevertheless.
const maxParcelsRead = 200

// benchAfter gives the pieces of the member's parcels in hand that follow one, which is
// named "parcel/piece", or "parcel/" for a parcel as a whole.
func benchAfter(q *eventstore.Query, me, after string, limit int) (found []onBench, next string, err error) {
	v := view.Parcels{}
	last, lastPiece, _ := strings.Cut(after, "/")
	var parcels []string
	if lastPiece != "" {
		parcels = append(parcels, last)
	}
	more, nextParcel, err := v.ByBuyer(q.View(v.Name()), me, last, maxParcelsRead)
	if err != nil {
		return nil, "", err
	}
	for _, id := range append(parcels, more...) {
		lot, _, err := eventstore.Load(q, stream.Parcel, id)
		if err != nil {
			return nil, "", err
		}
		if lot.Deal.Buyer != me || !lot.HandedOver || lot.Done {
			continue
		}
		from := ""
		if id == last {
			from = lastPiece
		}
		pieces, rest := lot.PiecesAfter(from, limit-len(found))
		for _, pieceID := range pieces {
			found = append(found, onBench{&lot, pieceID})
		}
		if rest != "" {
			return found, id + "/" + rest, nil
		}
		if len(found) == limit {
			return found, id + "/" + pieces[len(pieces)-1], nil
		}
	}
	if nextParcel != "" {
		return found, more[len(more)-1] + "/", nil
	}
	return found, "", nil
}

func benchLines(q *eventstore.Query, lot *parcel.State, rough piece.State, rest time.Duration) (lines []*cutterv1.BenchLine, err error) {
	for i, part := range wire.BenchPiece(rough, lot.Deal.Buyer, rest).GetParts() {
		line := &cutterv1.BenchLine{
			ParcelId: lot.ID, ParcelLabel: lot.Label, PieceId: rough.ID, PieceLabel: rough.Label, Part: part.GetName(),
			Weighing: part.GetWeighing(), LastStep: part.GetLastStep(), Tray: part.GetTray(), Dop: part.GetDop(),
			RestsUntil: part.GetRestsUntil(), WaitsFor: part.GetWaitsFor(), StoneId: part.GetStoneId(),
		}
		if rough.Parts[i].Fate == piece.Stone {
			st, _, err := eventstore.Load(q, stream.Stone, part.GetStoneId())
			if err != nil {
				return nil, err
			}
			line.StoneLabel, line.Weighing = st.Facts.GetLabel(), wire.Weighing(st.Weighing)
			line.Job = stoneJob(st)
		} else {
			line.Job = partJob(rough, rough.Parts[i], lot.Deal.Buyer, q.Now(), rest)
		}
		if line.Job != cutterv1.Job_JOB_UNSPECIFIED {
			lines = append(lines, line)
		}
	}
	return lines, nil
}

// partJob is what there is to do with a part; a part on the shelf or kept as an off-cut
// asks for nothing.
func partJob(rough piece.State, part piece.Part, cutter string, now time.Time, rest time.Duration) cutterv1.Job {
	switch {
	case part.Fate == piece.Waiting:
		return cutterv1.Job_JOB_DECIDE
	case part.Fate != piece.InWork:
		return cutterv1.Job_JOB_UNSPECIFIED
	case rough.Count > 1:
		return cutterv1.Job_JOB_OPEN
	case part.Shaped() && now.Before(time.UnixMicro(part.ShapedUs).Add(rest)):
		return cutterv1.Job_JOB_REST
	case part.Shaped():
		return cutterv1.Job_JOB_POLISH
	case part.Step != 0:
		return cutterv1.Job_JOB_GO_ON
	}
	own := rough.Of(cutter)
	if _, chosen := own.Chosen(); chosen {
		return cutterv1.Job_JOB_BEGIN
	}
	if len(own.Studies) > 0 {
		return cutterv1.Job_JOB_PLAN
	}
	return cutterv1.Job_JOB_STUDY
}

func stoneJob(s stone.State) cutterv1.Job {
	switch {
	case s.Stage != stone.InStock:
		return cutterv1.Job_JOB_UNSPECIFIED
	case s.Check.Stands():
		return cutterv1.Job_JOB_SELL
	case s.Check.By != "":
		return cutterv1.Job_JOB_CONFIRM
	}
	return cutterv1.Job_JOB_CHECK
}
