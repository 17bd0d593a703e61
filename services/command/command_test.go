package command_test

import (
	"errors"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"seamshare.example/eventstore"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/fault"
	"seamshare.example/services/stream"
	"seamshare.example/services/tradetest"
)

// TestRun: what needs a caller is tested through the services; here is what they can't
// reach.
func TestRun(t *testing.T) {
	h := tradetest.Open(t)
	t.Run("refused: a caller whom nobody let in, though no door stands before", func(t *testing.T) {
		ran := false
		_, err := command.Run(t.Context(), h.Node, &coopv1.RecordFieldRequest{RequestId: "r"}, stream.Field, func(*eventstore.Tx) (*command.Thing[member.Field], error) {
			ran = true
			return nil, errors.New("decided")
		})
		if ran || status.Code(fault.Status(err)) != codes.PermissionDenied {
			t.Errorf("ran %v, got %v", ran, err)
		}
	})
}

func TestThing(t *testing.T) {
	h := tradetest.Open(t)
	t.Run("OK: its state follows what is recorded, before it is stored", func(t *testing.T) {
		_, err := h.Node.Decide(t.Context(), eventstore.Request{}, func(tx *eventstore.Tx) error {
			field, err := command.Open(tx, stream.Field, "f1")
			if err != nil {
				return err
			}
			recorded, err := field.State.Record("f1", "Ashbarrel Rise", "")
			if err != nil {
				return err
			}
			field.Record(recorded)
			if field.State.Name != "Ashbarrel Rise" || field.Version != 1 {
				t.Errorf("got %+v", field)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	})
}

func TestNewID(t *testing.T) {
	a, b := command.NewID(), command.NewID()
	if a >= b || len(a) != 26 || a != strings.ToLower(a) {
		t.Errorf("got %q and %q", a, b)
	}
}
