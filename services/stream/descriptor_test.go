package stream_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	// All API packages, so that their files are registered.
	_ "seamshare.example/proto/gen/seamshare/coop/v1"
	_ "seamshare.example/proto/gen/seamshare/cutter/v1"
	_ "seamshare.example/proto/gen/seamshare/jeweller/v1"
	_ "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

const events = "seamshare.event."

// ours calls fn for each of our files.
func ours(fn func(f protoreflect.FileDescriptor, stored bool)) {
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		if strings.HasPrefix(string(f.Package()), "seamshare.") {
			fn(f, strings.HasPrefix(string(f.Package()), events))
		}
		return true
	})
}

// TestApart: what is stored and what the API says share only values of google.protobuf
// and google.type, so that the API can change and what is stored can't.
func TestApart(t *testing.T) {
	files := 0
	ours(func(f protoreflect.FileDescriptor, stored bool) {
		files++
		for i := range f.Imports().Len() {
			in := string(f.Imports().Get(i).Package())
			shared := in == "google.protobuf" || in == "google.type"
			switch {
			case stored && !shared && !strings.HasPrefix(in+".", events):
				t.Errorf("%s is stored and imports %s", f.Path(), in)
			case !stored && strings.HasPrefix(in+".", events):
				t.Errorf("%s is API and imports %s", f.Path(), in)
			}
		}
	})
	if files < 15 {
		t.Fatalf("only %d files were looked at", files)
	}
}

// TestEnums: enums of events and API have the same names and numbers, so that package
// wire converts them by number.
func TestEnums(t *testing.T) {
	api := typev1.File_seamshare_type_v1_values_proto.Package()
	// The API has fates that are stored as events of their own.
	onlyShown := map[protoreflect.FullName]bool{api.Append("FATE_STONE"): true, api.Append("FATE_WAITING"): true, api.Append("FATE_MOVED_ON"): true}
	// Who weighed is no value of the API: the rpc says it.
	// What ended a deal neither: each reason has its own. Nor the accounts that a corrected mass moves between.
	onlyStored := map[protoreflect.FullName]bool{"seamshare.event.correction.v1.Account": true, "seamshare.event.parcel.v1.FallReason": true, "seamshare.event.parcel.v1.Side": true}
	seen := 0
	ours(func(f protoreflect.FileDescriptor, stored bool) {
		for i := range f.Enums().Len() {
			e := f.Enums().Get(i)
			if !stored || onlyStored[e.FullName()] {
				continue
			}
			d, err := protoregistry.GlobalFiles.FindDescriptorByName(api.Append(e.Name()))
			if err != nil {
				t.Errorf("the API has no %s", e.Name())
				continue
			}
			seen++
			shown := d.(protoreflect.EnumDescriptor)
			for i := range e.Values().Len() {
				v := e.Values().Get(i)
				if twin := shown.Values().ByNumber(v.Number()); twin == nil || twin.Name() != v.Name() {
					t.Errorf("%s is %d in events, and the API has %v there", v.Name(), v.Number(), twin)
				}
			}
			for i := range shown.Values().Len() {
				v := shown.Values().Get(i)
				if e.Values().ByName(v.Name()) == nil && !onlyShown[v.FullName()] {
					t.Errorf("the API has %s, which can't be stored", v.Name())
				}
			}
		}
	})
	if seen < 11 {
		t.Fatalf("only %d enums were compared", seen)
	}
}
