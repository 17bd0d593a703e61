package wholetest_test

import (
	"math/rand/v2"
	"slices"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/services/access"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tablestest"
)

// reader is somebody who looks at all they can.
type reader struct {
	name string
	cooptest.Person
	roles []memberv1.Role
}

// cast are the people of a world, with what they are.
func cast(w *tablestest.World) []reader {
	const (
		miner      = memberv1.Role_ROLE_MINER
		cutter     = memberv1.Role_ROLE_CUTTER
		jeweller   = memberv1.Role_ROLE_JEWELLER
		keeper     = memberv1.Role_ROLE_STOCK_KEEPER
		bookkeeper = memberv1.Role_ROLE_BOOKKEEPER
		approver   = memberv1.Role_ROLE_APPROVER
		auditor    = memberv1.Role_ROLE_AUDITOR
		registrar  = memberv1.Role_ROLE_REGISTRAR
	)
	one := func(name string, p cooptest.Person, role memberv1.Role) reader {
		return reader{name, p, []memberv1.Role{role}}
	}
	return []reader{
		one("the miner", w.Miner, miner), one("another miner", w.OtherMiner, miner),
		one("the cutter", w.Cutter, cutter), one("another cutter", w.OtherCutter, cutter),
		one("the jeweller", w.Jeweller, jeweller), one("another jeweller", w.OtherJeweller, jeweller),
		one("the stock keeper", w.Keeper, keeper), one("the bookkeeper", w.Books, bookkeeper), one("the approver", w.Approver, approver),
		one("the auditor", w.Auditor, auditor), one("the registrar", w.Registrar, registrar),
	}
}

// perQuery is how many things of a kind a reader asks each query for, the newest first.
const perQuery = 60

// sweep lets everybody ask every query that their role may call for all things that
// anybody has seen, and shows what each was answered.
func sweep(w *tablestest.World, k *known, readers []reader, show func(who reader, r rpc, answer proto.Message, err error)) {
	for _, r := range rpcs() {
		if r.changes() || r.IsStreamingServer() {
			continue
		}
		rule, err := access.RuleOf(r)
		w.Must(err)
		requests := questions(r, k)
		for _, who := range readers {
			if !rule.Open && !rule.SignedIn && !slices.ContainsFunc(who.roles, func(role memberv1.Role) bool { return slices.Contains(rule.Roles, role) }) {
				continue
			}
			for _, req := range requests {
				answer := r.answer()
				err := who.Conn.Invoke(w.Ctx(), r.full(), req, answer)
				switch status.Code(err) {
				case codes.OK, codes.NotFound, codes.PermissionDenied, codes.FailedPrecondition, codes.InvalidArgument:
				default:
					w.T.Errorf("%s asks %s %v: %v", who.name, r.name(), req, err)
				}
				show(who, r, answer, err)
			}
		}
	}
}

// questions are requests of one query: one for each thing it can be asked for, or the one
// that asks for all.
func questions(r rpc, k *known) (all []proto.Message) {
	req := r.request()
	m := req.ProtoReflect()
	var of protoreflect.FieldDescriptor
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		switch kind := kindOf(m.Descriptor(), f); {
		case f.Name() == "page_size":
			m.Set(f, protoreflect.ValueOfInt32(100))
		case kind == "" || kind == "etag" || f.IsList() || f.Kind() != protoreflect.StringKind:
		case of == nil:
			of = f
		default:
			// A second id: any that is known, as most are asked by the first.
			m.Set(f, protoreflect.ValueOfString(k.draw(kind, rand.New(rand.NewPCG(1, 1)))))
		}
	}
	if of == nil {
		return []proto.Message{req}
	}
	ids := k.all(kindOf(m.Descriptor(), of))
	for _, id := range ids[max(0, len(ids)-perQuery):] {
		next := proto.Clone(req)
		next.ProtoReflect().Set(of, protoreflect.ValueOfString(id))
		all = append(all, next)
	}
	return all
}
