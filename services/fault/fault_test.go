package fault_test

import (
	"context"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/fault"
)

// constants reads the reasons out of the source, so that none is forgotten.
func constants(t *testing.T) map[string]fault.Reason {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "reasons.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]fault.Reason{}
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || len(spec.Values) != 1 {
			return true
		}
		if kind, ok := spec.Type.(*ast.Ident); ok && kind.Name == "Reason" {
			text, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			found[spec.Names[0].Name] = fault.Reason(text)
		}
		return true
	})
	return found
}

func TestCatalogue(t *testing.T) {
	// AIP-193: "UPPER_SNAKE_CASE", at most 63 characters of this form.
	form := regexp.MustCompile(`^[A-Z][A-Z0-9_]{1,61}[A-Z0-9]$`)
	seen := map[fault.Reason]string{}
	for name, r := range constants(t) {
		if !form.MatchString(string(r)) {
			t.Errorf("%s: %q is not the form of a reason", name, r)
		}
		if r.About() == "" {
			t.Errorf("%s: %s stands nowhere in the catalogue", name, r)
		}
		if other, taken := seen[r]; taken {
			t.Errorf("%s and %s are both %s", name, other, r)
		}
		seen[r] = name
	}
	if len(seen) < 20 {
		t.Fatalf("only %d reasons found in the source", len(seen))
	}
	for _, r := range rule.Reasons() {
		if name, taken := seen[fault.Reason(r)]; taken {
			t.Errorf("%s is a reason of the domain and of %s", r, name)
		}
		if !form.MatchString(string(r)) {
			t.Errorf("%q is not the form of a reason", r)
		}
	}
}

func TestStatus(t *testing.T) {
	wrapped := func(err error) error { return fmt.Errorf("couldn't list the parcel: %w", err) }
	for _, c := range []struct {
		name   string
		err    error
		code   codes.Code
		reason string
		retry  bool
	}{
		{"outcome unknown", wrapped(eventstore.ErrOutcomeUnknown), codes.DeadlineExceeded, "OUTCOME_UNKNOWN", false},
		{"request id reused", wrapped(eventstore.ErrRequestReused), codes.AlreadyExists, "REQUEST_ID_REUSED", false},
		{"too big", wrapped(eventstore.ErrTooBig), codes.InvalidArgument, "COMMAND_TOO_BIG", false},
		{"busy", wrapped(eventstore.ErrBusy), codes.ResourceExhausted, "NODE_BUSY", true},
		{"low disk", wrapped(eventstore.ErrLowDisk), codes.ResourceExhausted, "LOW_DISK", true},
		{"stopping", wrapped(eventstore.ErrClosed), codes.Unavailable, "NODE_STOPPING", true},
		{"position ahead", wrapped(eventstore.ErrAhead), codes.Unavailable, "POSITION_NOT_THERE", true},
		{"storage failed", wrapped(eventstore.ErrIO), codes.Unavailable, "STORAGE_FAILED", true},
		{"trouble", wrapped(&eventstore.TroubleError{Reason: "a gap", Position: 7, Err: eventstore.ErrIO}), codes.Unavailable, "NODE_IN_TROUBLE", false},
		{"deadline", wrapped(context.DeadlineExceeded), codes.DeadlineExceeded, "DEADLINE_ENDED", false},
		{"cancelled", wrapped(context.Canceled), codes.Canceled, "CALLER_LEFT", false},
		{"unforeseen", errors.New("canary"), codes.Internal, "INTERNAL_ERROR", false},
		{"a refusal of ours", wrapped(fault.New(fault.RoleMissing, "no")), codes.PermissionDenied, "ROLE_MISSING", false},
		{"a rule: invalid", wrapped(rule.Broken{Reason: rule.MassInvalid, Field: "a"}), codes.InvalidArgument, "MASS_INVALID", false},
		{"a rule: missing", wrapped(rule.NotThere("stone_id", "stone")), codes.NotFound, "NOT_FOUND", false},
		{"a rule: state", wrapped(rule.Broken{Reason: rule.StoneSold}), codes.FailedPrecondition, "STONE_SOLD", false},
		{"a rule: changed", wrapped(rule.Broken{Reason: rule.EtagDiffers}), codes.Aborted, "ETAG_DIFFERS", false},
		{"a rule: denied", wrapped(rule.Broken{Reason: rule.NotAllowed}), codes.PermissionDenied, "NOT_ALLOWED", false},
		{"rules: the kind that decides gives the reason", wrapped(rule.All{{Reason: rule.StoneSold}, {Reason: rule.MassInvalid}}), codes.InvalidArgument, "MASS_INVALID", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			st, ok := status.FromError(fault.Status(c.err))
			if !ok || st.Code() != c.code {
				t.Fatalf("got %v, want %v", st, c.code)
			}
			if strings.Contains(st.String(), "canary") || strings.Contains(st.Message(), "couldn't list") {
				t.Fatalf("tells what was attempted inside: %v", st)
			}
			var reason string
			var retry bool
			for _, d := range st.Details() {
				switch d := d.(type) {
				case *errdetails.ErrorInfo:
					reason = d.GetReason()
				case *errdetails.RetryInfo:
					retry = d.GetRetryDelay().AsDuration() > 0
				}
			}
			if reason != c.reason || retry != c.retry {
				t.Fatalf("reason %q, retry %v; want %q, %v", reason, retry, c.reason, c.retry)
			}
		})
	}
	t.Run("trouble: says where", func(t *testing.T) {
		var f *fault.Error
		if !errors.As(fault.Status(&eventstore.TroubleError{Reason: "a gap", Position: 7, Sequence: 3}), &f) || f.Metadata["position"] != "7" || f.Metadata["sequence"] != "3" {
			t.Fatalf("got %+v", f)
		}
	})
	t.Run("rules: one violation for each field", func(t *testing.T) {
		var f *fault.Error
		err := rule.All{{Reason: rule.MassInvalid, Field: "a.mass_ug", Value: "-1", Rule: "a mass is positive"}, {Reason: rule.StoneSold, Rule: "sold"}, {Reason: rule.NotAnswered, Field: "kind", Rule: "is always answered"}}
		if !errors.As(fault.Status(err), &f) || len(f.Fields) != 2 {
			t.Fatalf("got %+v", f)
		}
		if want := (fault.Field{Path: "a.mass_ug", Problem: "-1: a mass is positive", Rule: "MASS_INVALID"}); f.Fields[0] != want {
			t.Fatalf("got %+v, want %+v", f.Fields[0], want)
		}
	})
	t.Run("nil stays nil", func(t *testing.T) {
		if err := fault.Status(nil); err != nil {
			t.Fatal(err)
		}
	})
}
