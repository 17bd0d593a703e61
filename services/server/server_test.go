package server_test

import (
	"context"
	"encoding/json"
	"errors"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	reflectionpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/emptypb"

	"seamshare.example/eventstore"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/access"
	"seamshare.example/services/fault"
	"seamshare.example/services/server"
	"seamshare.example/services/stream"
)

// refused fails unless err is a status with this code and reason; it returns the details.
func refused(t *testing.T, err error, code codes.Code, reason fault.Reason) (bad *errdetails.BadRequest, retry *errdetails.RetryInfo) {
	t.Helper()
	st, ok := status.FromError(err)
	if !ok || st.Code() != code {
		t.Fatalf("got %v, want %v", err, code)
	}
	found := fault.Reason("")
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			found = fault.Reason(d.GetReason())
			if d.GetDomain() != fault.Domain {
				t.Fatalf("domain is %q", d.GetDomain())
			}
		case *errdetails.BadRequest:
			bad = d
		case *errdetails.RetryInfo:
			retry = d
		}
	}
	if found != reason {
		t.Fatalf("reason is %q (%v), want %s", found, err, reason)
	}
	return bad, retry
}

func TestAccess(t *testing.T) {
	h := open(t)
	ctx := t.Context()
	field := &coopv1.RecordFieldRequest{RequestId: "r1", Name: "Long Ridge"}

	t.Run("OK: with the role", func(t *testing.T) {
		client := coopv1.NewCoopServiceClient(h.as(t, h.registrar))
		first, err := client.RecordField(ctx, field)
		if err != nil {
			t.Fatal(err)
		}
		again, err := client.RecordField(ctx, &coopv1.RecordFieldRequest{RequestId: "r1", Name: "Long Ridge", MinPosition: first.GetPosition()})
		if err != nil || again.GetPosition() != first.GetPosition() {
			t.Fatalf("repeat gave %v, %v; first %v", again, err, first)
		}
		_, err = client.RecordField(ctx, &coopv1.RecordFieldRequest{RequestId: "r1", Name: "Short Ridge"})
		refused(t, err, codes.AlreadyExists, fault.RequestIDReused)
	})
	t.Run("OK: any person, where signing in is all", func(t *testing.T) {
		who, err := coopv1.NewAccessServiceClient(h.as(t, h.miner)).WhoAmI(ctx, &coopv1.WhoAmIRequest{})
		if err != nil || who.GetPersonId() != h.miner.Person || who.GetMemberId() != h.miner.Member {
			t.Fatalf("%v, %v", who, err)
		}
	})
	t.Run("refused: without the role", func(t *testing.T) {
		_, err := coopv1.NewCoopServiceClient(h.as(t, h.miner)).RecordField(ctx, field)
		refused(t, err, codes.PermissionDenied, fault.RoleMissing)
	})
	t.Run("refused: without a token, before validation", func(t *testing.T) {
		_, err := coopv1.NewCoopServiceClient(h.bare(t)).RecordField(ctx, &coopv1.RecordFieldRequest{})
		refused(t, err, codes.Unauthenticated, fault.TokenMissing)
	})
	t.Run("refused: without the role, before validation", func(t *testing.T) {
		_, err := coopv1.NewCoopServiceClient(h.as(t, h.miner)).RecordField(ctx, &coopv1.RecordFieldRequest{})
		refused(t, err, codes.PermissionDenied, fault.RoleMissing)
	})
	for _, c := range []struct {
		name    string
		headers []string
		want    fault.Reason
	}{
		{"refused: a token that isn't one", []string{"Bearer x.y.z"}, fault.TokenInvalid},
		{"refused: another scheme", []string{"Basic bTE6bTE="}, fault.TokenMissing},
		{"refused: no token after Bearer", []string{"Bearer "}, fault.TokenMissing},
		{"refused: two headers", []string{"Bearer x.y.z", "Bearer x.y.z"}, fault.TokenInvalid},
	} {
		t.Run(c.name, func(t *testing.T) {
			ctx := metadata.NewOutgoingContext(ctx, metadata.MD{"authorization": c.headers})
			_, err := coopv1.NewAccessServiceClient(h.bare(t)).WhoAmI(ctx, &coopv1.WhoAmIRequest{})
			refused(t, err, codes.Unauthenticated, c.want)
		})
	}
	t.Run("refused: a replayed assertion", func(t *testing.T) {
		assertion, err := access.SignAssertion(h.miner.Key, h.miner.Person, h.miner.Member, h.miner.Coop, time.Now())
		if err != nil {
			t.Fatal(err)
		}
		client := coopv1.NewAccessServiceClient(h.bare(t))
		if _, err := client.IssueToken(ctx, &coopv1.IssueTokenRequest{Assertion: assertion}); err != nil {
			t.Fatal(err)
		}
		_, err = client.IssueToken(ctx, &coopv1.IssueTokenRequest{Assertion: assertion})
		refused(t, err, codes.Unauthenticated, fault.AssertionReplayed)
	})
	t.Run("refused: signed in for another co-op", func(t *testing.T) {
		as := h.miner
		as.Coop = "three-creeks"
		_, err := coopv1.NewAccessServiceClient(h.as(t, as)).WhoAmI(ctx, &coopv1.WhoAmIRequest{})
		refused(t, err, codes.Unauthenticated, fault.TokenOfAnotherCoop)
	})
	t.Run("refused: a method that isn't there", func(t *testing.T) {
		err := h.as(t, h.registrar).Invoke(ctx, "/seamshare.coop.v1.CoopService/Open", &emptypb.Empty{}, &emptypb.Empty{})
		if status.Code(err) != codes.Unimplemented {
			t.Fatalf("got %v", err)
		}
	})
	t.Run("OK: a role granted later counts for the token that is out already", func(t *testing.T) {
		client := coopv1.NewCoopServiceClient(h.as(t, h.miner))
		_, err := client.RecordField(ctx, field)
		refused(t, err, codes.PermissionDenied, fault.RoleMissing)
		_, err = h.node.Decide(ctx, eventstore.Request{}, func(tx *eventstore.Tx) error {
			tx.Record(stream.Member.Stream(h.miner.Member), &memberv1.Event{Event: &memberv1.Event_MemberRolesSet{MemberRolesSet: &memberv1.MemberRolesSet{
				Public:  &memberv1.MemberRolesSet_Public{MemberId: h.miner.Member},
				Private: &memberv1.MemberRolesSet_Private{Roles: []memberv1.Role{memberv1.Role_ROLE_MINER, memberv1.Role_ROLE_REGISTRAR}, Reason: "it keeps the books too"},
			}}})
			tx.Record(stream.Person.Stream(h.miner.Person), &memberv1.Event{Event: &memberv1.Event_RoleGranted{RoleGranted: &memberv1.RoleGranted{
				Public:  &memberv1.RoleGranted_Public{PersonId: h.miner.Person},
				Private: &memberv1.RoleGranted_Private{MemberId: h.miner.Member, Role: memberv1.Role_ROLE_REGISTRAR},
			}}})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := client.RecordField(ctx, &coopv1.RecordFieldRequest{RequestId: "r2", Name: "Short Ridge"}); err != nil {
			t.Fatal(err)
		}
	})
}

// bytesCodec sends bytes as they are, as a client with a mistake might.
type bytesCodec struct{}

func (bytesCodec) Marshal(v any) ([]byte, error)   { return *v.(*[]byte), nil }
func (bytesCodec) Unmarshal(_ []byte, _ any) error { return nil }
func (bytesCodec) Name() string                    { return "proto" }
func send(conn *grpc.ClientConn, ctx context.Context, data []byte) error {
	var out []byte
	return conn.Invoke(ctx, coopv1.CoopService_RecordField_FullMethodName, &data, &out, grpc.ForceCodec(bytesCodec{}))
}

func TestRequest(t *testing.T) {
	h := open(t)
	ctx := t.Context()

	t.Run("refused: every field that is wrong is named", func(t *testing.T) {
		_, err := coopv1.NewCoopServiceClient(h.as(t, h.registrar)).AdmitMember(ctx, &coopv1.AdmitMemberRequest{RequestId: "no spaces"})
		bad, _ := refused(t, err, codes.InvalidArgument, fault.InvalidRequest)
		var fields []string
		for _, v := range bad.GetFieldViolations() {
			fields = append(fields, v.GetField())
			if v.GetDescription() == "" {
				t.Errorf("%s is refused without a word", v.GetField())
			}
		}
		slices.Sort(fields)
		if want := []string{"request_id", "roles", "trading_name"}; !slices.Equal(fields, want) {
			t.Fatalf("violations for %v, want %v", fields, want)
		}
	})
	t.Run("refused: bytes that are no message", func(t *testing.T) {
		err := send(h.as(t, h.registrar), ctx, []byte{0x0a, 0xff, 0xff, 0xff, 0x0f, 1, 2, 3})
		refused(t, err, codes.InvalidArgument, fault.MalformedRequest)
	})
	t.Run("refused: invalid UTF-8", func(t *testing.T) {
		err := send(h.as(t, h.registrar), ctx, []byte{0x1a, 2, 0xff, 0xfe})
		refused(t, err, codes.InvalidArgument, fault.MalformedRequest)
	})
	t.Run("refused: a stream's request that is no message", func(t *testing.T) {
		s, err := h.bare(t).NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, healthpb.Health_Watch_FullMethodName, grpc.ForceCodec(bytesCodec{}))
		if err != nil {
			t.Fatal(err)
		}
		garbage := []byte{0xff}
		if err := errors.Join(s.SendMsg(&garbage), s.CloseSend()); err != nil {
			t.Fatal(err)
		}
		refused(t, s.RecvMsg(&garbage), codes.InvalidArgument, fault.MalformedRequest)
	})
	t.Run("refused: 100 MB", func(t *testing.T) {
		err := send(h.as(t, h.registrar), ctx, make([]byte, 100<<20))
		if status.Code(err) != codes.ResourceExhausted {
			t.Fatalf("got %v", err)
		}
		if _, err := coopv1.NewCoopServiceClient(h.as(t, h.registrar)).RecordField(ctx, &coopv1.RecordFieldRequest{RequestId: "after", Name: "Long Ridge"}); err != nil {
			t.Fatalf("the server is not well after it: %v", err)
		}
	})
}

func TestAnswers(t *testing.T) {
	var log strings.Builder
	h := open(t, func(c *server.Config) { c.Log = textLog(&log) })
	client := coopv1.NewCoopServiceClient(h.as(t, h.miner))
	list := func(token string) error {
		_, err := client.ListFields(t.Context(), &coopv1.ListFieldsRequest{PageToken: token})
		return err
	}
	t.Run("OK", func(t *testing.T) {
		if err := list(""); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("a mistake inside: the caller learns nothing, the log all", func(t *testing.T) {
		for _, token := range []string{"store", "panic"} {
			log.Reset()
			err := list(token)
			refused(t, err, codes.Internal, fault.InternalError)
			whole, _ := json.Marshal(status.Convert(err).Proto())
			if strings.Contains(err.Error()+string(whole), "canary") {
				t.Fatalf("the answer tells: %v", err)
			}
			if !strings.Contains(log.String(), "canary") || !strings.Contains(log.String(), "CoopService/ListFields") {
				t.Fatalf("the log has %q", log.String())
			}
			for _, d := range status.Convert(err).Details() {
				if info, ok := d.(*errdetails.ErrorInfo); ok && !strings.Contains(log.String(), info.GetMetadata()["incident"]) {
					t.Fatalf("the log doesn't have incident %q", info.GetMetadata())
				}
			}
		}
	})
	t.Run("rules: all that are broken", func(t *testing.T) {
		bad, _ := refused(t, list("rules"), codes.InvalidArgument, "MASS_INVALID")
		if len(bad.GetFieldViolations()) != 2 {
			t.Fatalf("violations: %v", bad)
		}
	})
	t.Run("busy: when to come back", func(t *testing.T) {
		if _, retry := refused(t, list("busy"), codes.ResourceExhausted, fault.NodeBusy); retry.GetRetryDelay().AsDuration() <= 0 {
			t.Fatal("it doesn't say when to come back")
		}
	})
	t.Run("absent", func(t *testing.T) { refused(t, list("absent"), codes.NotFound, "NOT_FOUND") })
}

func TestDeadline(t *testing.T) {
	h := open(t)
	bookkeeper := accessJoin(t, h, "b1", memberv1.Role_ROLE_BOOKKEEPER)
	client := coopv1.NewCoopServiceClient(h.as(t, bookkeeper))
	// The handler answers with the whole seconds it has.
	for _, c := range []struct {
		name  string
		given time.Duration
		least uint64
		most  uint64
	}{
		{"15 s where the caller gives none", 0, 10, 15},
		{"the caller's, less the way back", 30 * time.Second, 25, 29},
		{"60 s at most", time.Hour, 55, 60},
	} {
		t.Run(c.name, func(t *testing.T) {
			ctx := t.Context()
			if c.given > 0 {
				var cancel context.CancelFunc
				ctx, cancel = context.WithTimeout(ctx, c.given)
				defer cancel()
			}
			got, err := client.GetBalances(ctx, &coopv1.GetBalancesRequest{})
			if err != nil {
				t.Fatal(err)
			}
			if s := got.GetPosition(); s < c.least || s > c.most {
				t.Fatalf("the handler has %d s", s)
			}
		})
	}
}

func TestRates(t *testing.T) {
	t.Run("refused: a member that calls too often, whoever calls for it", func(t *testing.T) {
		h := open(t, func(c *server.Config) { c.Limits.Member = server.Rate{PerSecond: 0.001, Burst: 3} })
		first := coopv1.NewCoopServiceClient(h.as(t, h.miner))
		second := coopv1.NewCoopServiceClient(h.as(t, h.miner))
		for range 3 {
			if _, err := first.ListFields(t.Context(), &coopv1.ListFieldsRequest{}); err != nil {
				t.Fatal(err)
			}
		}
		_, err := second.ListFields(t.Context(), &coopv1.ListFieldsRequest{})
		if _, retry := refused(t, err, codes.ResourceExhausted, fault.TooManyRequests); retry.GetRetryDelay().AsDuration() <= 0 {
			t.Fatal("it doesn't say when to come back")
		}
		if _, err := coopv1.NewCoopServiceClient(h.as(t, h.auditor)).ListFields(t.Context(), &coopv1.ListFieldsRequest{}); err != nil {
			t.Fatalf("another member is held too: %v", err)
		}
	})
	t.Run("refused: an address that calls too often, as the gateway saw it", func(t *testing.T) {
		h := open(t, func(c *server.Config) { c.Limits.Address = server.Rate{PerSecond: 0.001, Burst: 2} })
		client := coopv1.NewCoopServiceClient(h.bare(t))
		call := func(forwarded string) error {
			ctx := metadata.AppendToOutgoingContext(t.Context(), "x-forwarded-for", forwarded)
			_, err := client.ListFields(ctx, &coopv1.ListFieldsRequest{})
			return err
		}
		for _, forwarded := range []string{"2001:db8::1", "198.51.100.1, 2001:db8::ffff"} {
			refused(t, call(forwarded), codes.Unauthenticated, fault.TokenMissing)
		}
		refused(t, call("203.0.113.9, 2001:db8::2"), codes.ResourceExhausted, fault.TooManyRequests)
		refused(t, call("2001:db8::2, 203.0.113.9"), codes.Unauthenticated, fault.TokenMissing)
	})
	t.Run("OK: a forwarded address from outside is not believed", func(t *testing.T) {
		h := open(t, func(c *server.Config) { c.Limits.Address = server.Rate{PerSecond: 0.001, Burst: 1} })
		conn, err := grpc.NewClient(h.listen(t), plain)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		ctx := metadata.AppendToOutgoingContext(t.Context(), "x-forwarded-for", "203.0.113.9")
		for range 3 { // as 203.0.113.9 the second would be refused; loopback isn't counted
			_, err := coopv1.NewCoopServiceClient(conn).ListFields(ctx, &coopv1.ListFieldsRequest{})
			refused(t, err, codes.Unauthenticated, fault.TokenMissing)
		}
	})
}

func TestAssembly(t *testing.T) {
	base := func(register func(grpc.ServiceRegistrar)) (*server.Server, error) {
		key, err := access.NewKey()
		if err != nil {
			t.Fatal(err)
		}
		guard := access.NewGuard(access.NewIssuer("two-fields", key, time.Now), nil)
		return server.New(server.Config{Register: register, Guard: guard})
	}
	t.Run("refused: methods without an access rule, all named", func(t *testing.T) {
		_, err := base(func(r grpc.ServiceRegistrar) {
			r.RegisterService(&grpc.ServiceDesc{
				ServiceName: "seamshare.coop.v1.Backdoor", HandlerType: (*any)(nil),
				Methods: []grpc.MethodDesc{{MethodName: "Open"}, {MethodName: "Shut"}},
			}, nil)
		})
		if err == nil || !strings.Contains(err.Error(), "Backdoor/Open") || !strings.Contains(err.Error(), "Backdoor/Shut") {
			t.Fatalf("got %v", err)
		}
	})
	t.Run("refused: no services", func(t *testing.T) {
		if _, err := server.New(server.Config{}); err == nil {
			t.Fatal("it was assembled")
		}
	})
	t.Run("refused: plaintext off loopback", func(t *testing.T) {
		h := open(t)
		l, err := net.Listen("tcp", ":0")
		if err != nil {
			t.Fatal(err)
		}
		l.Close() // so that a server that took it would come back at once, with another error
		if err := h.server.Serve(l); err == nil || !strings.Contains(err.Error(), "plaintext") {
			t.Fatalf("got %v", err)
		}
	})
}

func TestReflection(t *testing.T) {
	h := open(t)
	s, err := reflectionpb.NewServerReflectionClient(h.bare(t)).ServerReflectionInfo(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Send(&reflectionpb.ServerReflectionRequest{MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{}}); err != nil {
		t.Fatal(err)
	}
	answer, err := s.Recv()
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, n := range answer.GetListServicesResponse().GetService() {
		names = append(names, n.GetName())
	}
	if !slices.Contains(names, "seamshare.coop.v1.CoopService") {
		t.Fatalf("services: %v", names)
	}
	if err := s.CloseSend(); err != nil {
		t.Fatal(err)
	}
}
