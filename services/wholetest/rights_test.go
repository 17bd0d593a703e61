package wholetest_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/tablestest"
)

// missing is an id that is nobody's, in a form that every kind of id can have.
const missing = "00000000000000ff"

// asked is one call with a request that is right: who may make it, and what they send.
type asked struct {
	own *grpc.ClientConn
	req proto.Message
}

// callers are who tries every rpc beside the one who may.
type callers struct {
	nobody    *grpc.ClientConn
	suspended []stranger // persons who may act no more, though between them they have every role
	roles     map[memberv1.Role]cooptest.Person
}

type stranger struct {
	name string
	conn *grpc.ClientConn
}

func TestRights(t *testing.T) {
	traffic := &tablestest.Traffic{}
	stay := map[*grpc.ClientConn]bool{}
	made := map[string]asked{} // the last good call of each rpc, made by any recipe
	traffic.Hear = func(h tablestest.Heard) {
		if h.Err == nil && stay[h.Conn] {
			made[h.Method] = asked{h.Conn, h.Req}
		}
	}
	w := tablestest.NewWorld(t, traffic.Dial())
	for _, p := range w.People() {
		stay[p.Conn] = true
	}
	them := everybody(t, w)
	trials := tablestest.All()
	ready := func(r rpc) (asked, bool) {
		for _, trial := range trials {
			call := trial.Ready(w, r.name())
			if call == nil {
				continue
			}
			traffic.Hold(r.full())
			err := call()
			if held := traffic.Held(); held != nil {
				return asked{held.Conn, held.Req}, true
			}
			t.Errorf("the recipe for %s didn't call it: %v", r.name(), err)
		}
		return asked{}, false
	}
	var queries []rpc
	for _, r := range rpcs() {
		if !r.changes() {
			queries = append(queries, r)
			continue
		}
		t.Run(r.name(), func(t *testing.T) {
			outer := w.T
			defer func() { w.T = outer }()
			w.T = t
			fresh := func() asked {
				if make, ok := fixtures[r.name()]; ok {
					return make(w)
				}
				got, ok := ready(r)
				if !ok {
					t.Fatal("no recipe of services/tablestest calls it, and fixtures has no right request of it")
				}
				return got
			}
			matrix(t, w, them, r, fresh)
		})
	}
	for _, r := range queries {
		t.Run(r.name(), func(t *testing.T) {
			outer := w.T
			defer func() { w.T = outer }()
			w.T = t
			if r.IsStreamingServer() {
				streams(t, w, them, r)
				return
			}
			fresh := func() asked {
				if make, ok := fixtures[r.name()]; ok {
					return make(w)
				}
				if got, ok := ofAll(w, r); ok {
					return got
				}
				got, ok := made[r.full()]
				if !ok {
					t.Fatal("no recipe of services/tablestest calls it, and fixtures has no right request of it")
				}
				return got
			}
			matrix(t, w, them, r, fresh)
		})
	}
}

// ofAll is the request of a query that asks for all there is, by one who may.
func ofAll(w *tablestest.World, r rpc) (asked, bool) {
	for i := range r.Input().Fields().Len() {
		if f := r.Input().Fields().Get(i); f.Kind() == protoreflect.StringKind && strings.HasSuffix(string(f.Name()), "_id") {
			return asked{}, false
		}
	}
	rule, err := access.RuleOf(r)
	w.Must(err)
	for _, who := range cast(w) {
		if rule.SignedIn || slices.Contains(rule.Roles, who.roles[0]) {
			return asked{who.Conn, r.request()}, true
		}
	}
	return asked{}, false
}

// matrix tries one rpc as everybody.
func matrix(t *testing.T, w *tablestest.World, them callers, r rpc, fresh func() asked) {
	rule, err := access.RuleOf(r)
	if err != nil {
		t.Fatal(err)
	}
	right, declared := rights[r.name()]
	if !declared {
		t.Fatal("the table of rights doesn't say what another gets")
	}
	x := fresh()
	// turned tries what must be refused, and holds that nothing was done.
	turned := func(who string, want codes.Code, conn *grpc.ClientConn, ctx context.Context, req proto.Message) error {
		t.Helper()
		before := w.Node.Checkpoint().Position
		err := send(ctx, conn, r, req)
		if status.Code(err) != want {
			t.Errorf("%s: got %v, want %v", who, err, want)
		}
		if now := w.Node.Checkpoint().Position; now != before {
			t.Errorf("%s: it wrote %d records", who, now-before)
		}
		return err
	}
	if !rule.Open {
		turned("without a token", codes.Unauthenticated, them.nobody, w.Ctx(), x.req)
		turned("with an expired token", codes.Unauthenticated, them.nobody, bearing(w, w.House.Node.Coop(), -time.Hour), x.req)
		turned("with another co-op's token", codes.Unauthenticated, them.nobody, bearing(w, "another-co-op", 0), x.req)
		for _, s := range them.suspended {
			closed(t, s.name, turned(s.name, codes.PermissionDenied, s.conn, w.Ctx(), x.req))
		}
	}
	for role, person := range them.roles {
		who := fmt.Sprintf("a %s", strings.ToLower(strings.TrimPrefix(role.String(), "ROLE_")))
		if !rule.Open && !rule.SignedIn && !slices.Contains(rule.Roles, role) {
			turned(who+", whose work it isn't", codes.PermissionDenied, person.Conn, w.Ctx(), x.req)
			continue
		}
		if right.another == codes.OK || slices.Contains(right.but, role) {
			continue // they may all do it; below
		}
		got := turned(who+" of another member", right.another, person.Conn, w.Ctx(), x.req)
		if right.another != codes.NotFound {
			continue
		}
		alike := false
		var texts []string
		for _, a := range withouts(x.req) {
			text := fmt.Sprint(send(w.Ctx(), person.Conn, r, a.req))
			alike = alike || strings.ReplaceAll(fmt.Sprint(got), a.id, missing) == text
			texts = append(texts, text)
		}
		if !alike {
			t.Errorf("not yours and not there don't look the same:\n%v\n%s", got, strings.Join(texts, "\n"))
		}
	}
	for _, a := range withouts(x.req) {
		before := w.Node.Checkpoint().Position
		err := send(w.Ctx(), x.own, r, a.req)
		switch code := status.Code(err); {
		case code == codes.NotFound:
		case !a.inPath(r) && (code == codes.FailedPrecondition || code == codes.InvalidArgument):
			// What the request is about is there; something else that it names isn't.
		default:
			t.Errorf("the one who may, with %s of nothing: got %v, want NotFound", a.field, err)
		}
		if now := w.Node.Checkpoint().Position; now != before {
			t.Errorf("with %s of nothing it wrote %d records", a.field, now-before)
		}
	}
	if err := send(w.Ctx(), x.own, r, x.req); err != nil {
		t.Errorf("the one who may: %v", err)
	}
	if rule.Open {
		return
	}
	for role, person := range them.roles {
		if !rule.SignedIn && !slices.Contains(rule.Roles, role) || right.another != codes.OK && !slices.Contains(right.but, role) {
			continue
		}
		if err := send(w.Ctx(), person.Conn, r, fresh().req); err != nil {
			t.Errorf("a %v of another member: %v", role, err)
		}
	}
}

// streams tries a stream. Whom the rule names may have it all.
func streams(t *testing.T, w *tablestest.World, them callers, r rpc) {
	rule, err := access.RuleOf(r)
	if err != nil {
		t.Fatal(err)
	}
	x := asked{req: r.request()}
	if make, ok := fixtures[r.name()]; ok {
		x = make(w)
	}
	open := func(ctx context.Context, conn *grpc.ClientConn) error {
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		s, err := conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, r.full())
		if err != nil {
			return err
		}
		if err := s.SendMsg(x.req); err != nil {
			return err
		}
		if err := s.CloseSend(); err != nil {
			return err
		}
		return s.RecvMsg(r.answer())
	}
	if x.own != nil {
		if err := open(w.Ctx(), x.own); err != nil {
			t.Errorf("whose it is: got %v", err)
		}
	}
	for who, ctx := range map[string]context.Context{
		"without a token":            w.Ctx(),
		"with an expired token":      bearing(w, w.House.Node.Coop(), -time.Hour),
		"with another co-op's token": bearing(w, "another-co-op", 0),
	} {
		if err := open(ctx, them.nobody); status.Code(err) != codes.Unauthenticated {
			t.Errorf("%s: got %v, want Unauthenticated", who, err)
		}
	}
	for _, s := range them.suspended {
		closed(t, s.name, open(w.Ctx(), s.conn))
	}
	for role, person := range them.roles {
		want := codes.PermissionDenied
		if rule.SignedIn || slices.Contains(rule.Roles, role) {
			want = rights[r.name()].another
		}
		if err := open(w.Ctx(), person.Conn); status.Code(err) != want {
			t.Errorf("a %v: got %v, want %v", role, err, want)
		}
	}
}

// closed holds that it was somebody's standing that turned them away, not a role they lack.
func closed(t *testing.T, who string, err error) {
	t.Helper()
	if reason := reasonOf(err); status.Code(err) != codes.PermissionDenied || reason != "MEMBER_CLOSED" {
		t.Errorf("%s: got %v for %q, want PermissionDenied for MEMBER_CLOSED", who, err, reason)
	}
}

// reasonOf is why a call was refused, as programs read it.
func reasonOf(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}

// send makes a call; a mutation goes under a request id of its own, so that it isn't a
// repeat of another try.
func send(ctx context.Context, conn *grpc.ClientConn, r rpc, req proto.Message) error {
	req = proto.Clone(req)
	m := req.ProtoReflect()
	if f := m.Descriptor().Fields().ByName("request_id"); f != nil {
		m.Set(f, protoreflect.ValueOfString(command.NewID()))
	}
	return conn.Invoke(ctx, r.full(), req, r.answer())
}

// about is a request that names something that isn't there in place of one of its things,
// and the id that it named.
type about struct {
	req   proto.Message
	field string
	id    string
}

// inPath: the id names what the call is about.
func (a about) inPath(r rpc) bool {
	http, _ := proto.GetExtension(r.Options(), annotations.E_Http).(*annotations.HttpRule)
	return strings.Contains(http.GetPost()+http.GetGet(), "{"+a.field+"}")
}

// withouts are requests about things that aren't there: one for each id in the request.
func withouts(req proto.Message) (all []about) {
	var walk func(at func(protoreflect.Message) protoreflect.Message)
	walk = func(at func(protoreflect.Message) protoreflect.Message) {
		m := at(req.ProtoReflect())
		for i := range m.Descriptor().Fields().Len() {
			f := m.Descriptor().Fields().Get(i)
			switch {
			case !m.Has(f) || f.IsMap():
			case f.Message() != nil && f.IsList():
				for j := range m.Get(f).List().Len() {
					walk(func(r protoreflect.Message) protoreflect.Message { return at(r).Get(f).List().Get(j).Message() })
				}
			case f.Message() != nil:
				walk(func(r protoreflect.Message) protoreflect.Message { return at(r).Get(f).Message() })
			case f.Kind() == protoreflect.StringKind && !f.IsList() && f.Name() != "request_id" && strings.HasSuffix(string(f.Name()), "_id"):
				changed := proto.Clone(req)
				inner := at(changed.ProtoReflect())
				all = append(all, about{changed, string(f.Name()), inner.Get(f).String()})
				inner.Set(f, protoreflect.ValueOfString(missing))
			}
		}
	}
	walk(func(r protoreflect.Message) protoreflect.Message { return r })
	return all
}

// bearing is a context with a token of the first registrar, given by a co-op some time ago.
func bearing(w *tablestest.World, coop string, ago time.Duration) context.Context {
	w.T.Helper()
	then := time.Now().Add(ago)
	as := w.Desk.SignIn
	assertion, err := access.SignAssertion(as.Key, as.Person, as.Member, coop, then)
	w.Must(err)
	q, err := w.Node.Query(w.Ctx(), 0)
	w.Must(err)
	defer q.Close()
	grant, err := access.NewIssuer(coop, w.TokenKey, func() time.Time { return then }).Issue(q, assertion)
	w.Must(err)
	return metadata.AppendToOutgoingContext(w.Ctx(), "authorization", "Bearer "+grant.Token)
}

// everybody lets in who tries: one of each role, and those who may no more.
func everybody(t *testing.T, w *tablestest.World) callers {
	t.Helper()
	them := callers{nobody: w.Nobody(t), roles: map[memberv1.Role]cooptest.Person{}}
	var all []typev1.Role
	for number := range memberv1.Role_name {
		if role := typev1.Role(number); role != typev1.Role_ROLE_UNSPECIFIED {
			all = append(all, role)
		}
	}
	for _, role := range all {
		them.roles[memberv1.Role(role)] = personOf(t, w, "Only "+role.String(), role)
	}
	for _, role := range []memberv1.Role{memberv1.Role_ROLE_REGISTRAR, memberv1.Role_ROLE_APPROVER} {
		for _, p := range []cooptest.Person{w.Desk, w.Registrar, w.Keeper, w.SecondKeeper, w.Books, w.SecondBooks, w.Approver, w.SecondApprover} {
			_, err := w.Auditor.Coop().StateTwoPeople(w.Ctx(), &coopv1.StateTwoPeopleRequest{
				RequestId: command.NewID(), PersonId: them.roles[role].Person, OtherPersonId: p.Person, Basis: "both were in the room",
			})
			w.Must(err)
		}
	}
	// They sign in while they may, so that it is their standing that turns them away.
	in := func(p cooptest.Person) cooptest.Person {
		_, err := p.Access().WhoAmI(w.Ctx(), &coopv1.WhoAmIRequest{})
		w.Must(err)
		return p
	}
	// Nobody is a registrar and handles money, and who trades has no part in the desk.
	var trades, handles []typev1.Role
	for _, r := range all {
		switch {
		case !slices.Contains(member.DeskRoles, memberv1.Role(r)):
			trades = append(trades, r)
		case r != typev1.Role_ROLE_REGISTRAR:
			handles = append(handles, r)
		}
	}
	of := in(w.Join(t, "Suspended Member", trades...))
	_, err := w.Desk.Coop().SuspendMember(w.Ctx(), &coopv1.SuspendMemberRequest{RequestId: command.NewID(), MemberId: of.Member, Reason: "the test says so"})
	w.Must(err)
	them.suspended = append(them.suspended, stranger{"a person of a suspended member", of.Conn})
	for _, roles := range [][]typev1.Role{trades, handles, {typev1.Role_ROLE_REGISTRAR}} {
		suspended := in(personOf(t, w, "Suspended Person's", roles...))
		_, err = w.Desk.Coop().SuspendPerson(w.Ctx(), &coopv1.SuspendPersonRequest{RequestId: command.NewID(), PersonId: suspended.Person, Reason: "the test says so"})
		w.Must(err)
		removed := in(personOf(t, w, "Removed Person's", roles...))
		_, err = w.Desk.Coop().RemovePerson(w.Ctx(), &coopv1.RemovePersonRequest{RequestId: command.NewID(), PersonId: removed.Person, Reason: "the test says so"})
		w.Must(err)
		them.suspended = append(them.suspended, stranger{"a suspended person", suspended.Conn}, stranger{"a removed person", removed.Conn})
	}
	return them
}

// personOf is a person with roles: of the co-op's own member where they are the desk's, of
// a new one where not.
func personOf(t *testing.T, w *tablestest.World, name string, roles ...typev1.Role) cooptest.Person {
	t.Helper()
	if slices.Contains(member.DeskRoles, memberv1.Role(roles[0])) {
		return w.Add(t, w.Desk.Member, roles...)
	}
	return w.Join(t, name, roles...)
}
