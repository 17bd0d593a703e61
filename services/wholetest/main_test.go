package wholetest_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	_ "seamshare.example/proto/gen/seamshare/coop/v1"
	_ "seamshare.example/proto/gen/seamshare/cutter/v1"
	_ "seamshare.example/proto/gen/seamshare/jeweller/v1"
	_ "seamshare.example/proto/gen/seamshare/miner/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// rpc is one method of ours.
type rpc struct {
	protoreflect.MethodDescriptor
}

// rpcs are all of ours, by name.
func rpcs() (all []rpc) {
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(f.Package()), "seamshare.") {
			return true
		}
		for i := range f.Services().Len() {
			for j := range f.Services().Get(i).Methods().Len() {
				all = append(all, rpc{f.Services().Get(i).Methods().Get(j)})
			}
		}
		return true
	})
	slices.SortFunc(all, func(a, b rpc) int { return strings.Compare(a.name(), b.name()) })
	return all
}

// name is as in the tables: "MinerService/GetParcel".
func (r rpc) name() string { return fmt.Sprintf("%s/%s", r.Parent().Name(), r.Name()) }

// full is as gRPC writes it.
func (r rpc) full() string { return fmt.Sprintf("/%s/%s", r.Parent().FullName(), r.Name()) }

// changes: what HTTP calls by another verb than GET, but for what says that it has no side effects.
func (r rpc) changes() bool {
	http, _ := proto.GetExtension(r.Options(), annotations.E_Http).(*annotations.HttpRule)
	options, _ := r.Options().(*descriptorpb.MethodOptions)
	return http.GetGet() == "" && !r.IsStreamingServer() && options.GetIdempotencyLevel() != descriptorpb.MethodOptions_NO_SIDE_EFFECTS
}

// answer is an empty answer.
func (r rpc) answer() proto.Message {
	m, err := protoregistry.GlobalTypes.FindMessageByName(r.Output().FullName())
	if err != nil {
		panic(err) // the generated code is linked in
	}
	return m.New().Interface()
}

// request is an empty request.
func (r rpc) request() proto.Message {
	m, err := protoregistry.GlobalTypes.FindMessageByName(r.Input().FullName())
	if err != nil {
		panic(err) // the generated code is linked in
	}
	return m.New().Interface()
}
