package faults_test

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
)

// copyTree copies a folder. Holes stay holes: a store that was killed has large
// files with little in them. Sockets are left out.
func copyTree(t testing.TB, from, to string) {
	t.Helper()
	err := filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		target := filepath.Join(to, strings.TrimPrefix(path, from))
		info, err := d.Info()
		switch {
		case err != nil:
			return err
		case d.IsDir():
			return os.MkdirAll(target, info.Mode().Perm())
		case !d.Type().IsRegular():
			return nil
		}
		return copyFile(path, target, info.Mode().Perm())
	})
	if err != nil {
		t.Fatalf("couldn't copy %s: %v", from, err)
	}
}

var zeros = make([]byte, 64<<10)

func copyFile(from, to string, mode fs.FileMode) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, mode)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	buffer := make([]byte, len(zeros))
	for {
		n, err := in.Read(buffer)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if bytes.Equal(buffer[:n], zeros[:n]) {
			_, err = out.Seek(int64(n), io.SeekCurrent)
		} else {
			_, err = out.Write(buffer[:n])
		}
		if err != nil {
			return err
		}
	}
	size, err := out.Seek(0, io.SeekCurrent)
	if err != nil {
		return err
	}
	return out.Truncate(size)
}

// files lists the files below some folders of a data folder, relative to it.
func files(t testing.TB, dir string, below ...string) (all []string) {
	t.Helper()
	for _, b := range below {
		err := filepath.WalkDir(filepath.Join(dir, b), func(path string, d fs.DirEntry, err error) error {
			if err == nil && d.Type().IsRegular() {
				all = append(all, must(filepath.Rel(dir, path))(t))
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return all
}

// question is a read, as a member asks it.
type question struct {
	who    *person
	method string
	req    proto.Message
	answer func() proto.Message
}

func (c *coop) questions() []question {
	all := []question{
		{c.registrar, coopv1.CoopService_ListMembers_FullMethodName, &coopv1.ListMembersRequest{PageSize: 200}, func() proto.Message { return &coopv1.ListMembersResponse{} }},
		{c.registrar, coopv1.CoopService_ListFields_FullMethodName, &coopv1.ListFieldsRequest{PageSize: 200}, func() proto.Message { return &coopv1.ListFieldsResponse{} }},
		{c.auditor, coopv1.CoopService_GetBalances_FullMethodName, &coopv1.GetBalancesRequest{}, func() proto.Message { return &coopv1.GetBalancesResponse{} }},
	}
	for _, m := range c.miners {
		all = append(all,
			question{m, minerv1.MinerService_ListParcels_FullMethodName, &minerv1.ListParcelsRequest{PageSize: 200}, func() proto.Message { return &minerv1.ListParcelsResponse{} }},
			question{m, minerv1.MinerService_ListClaims_FullMethodName, &minerv1.ListClaimsRequest{PageSize: 200}, func() proto.Message { return &minerv1.ListClaimsResponse{} }})
	}
	for _, k := range c.cutters {
		all = append(all,
			question{k, cutterv1.CutterService_ListMarket_FullMethodName, &cutterv1.ListMarketRequest{PageSize: 200}, func() proto.Message { return &cutterv1.ListMarketResponse{} }},
			question{k, cutterv1.CutterService_ListParcels_FullMethodName, &cutterv1.ListParcelsRequest{PageSize: 200}, func() proto.Message { return &cutterv1.ListParcelsResponse{} }})
	}
	for _, w := range c.bench[:min(len(c.bench), 20)] {
		all = append(all, question{w.owner, cutterv1.CutterService_GetPiece_FullMethodName, &cutterv1.GetPieceRequest{PieceId: w.id}, func() proto.Message { return &cutterv1.GetPieceResponse{} }})
	}
	return all
}

// ask asks a question; the answer's text, without the token that tells where to go
// on, which is sealed anew each time.
func (q question) ask(ctx context.Context) (string, error) {
	answer := q.answer()
	if err := q.who.conn.Invoke(ctx, q.method, q.req, answer); err != nil {
		return "", err
	}
	m := answer.ProtoReflect()
	if token := m.Descriptor().Fields().ByName("next_page_token"); token != nil {
		m.Clear(token)
	}
	text, err := proto.MarshalOptions{Deterministic: true}.Marshal(answer)
	return q.method + string(text), err
}

// answers are all that a node says of itself and its members at one position.
func (c *coop) answers(t testing.TB) ([]string, error) {
	t.Helper()
	var all []string
	for _, q := range c.questions() {
		text, err := q.ask(soon(t))
		if err != nil {
			return nil, err
		}
		all = append(all, text)
	}
	root, err := coopv1.NewNodeServiceClient(c.auditor.conn).VerifyAt(soon(t), &coopv1.VerifyAtRequest{})
	if err != nil {
		return nil, err
	}
	return append(all, fmt.Sprintf("%d %x", root.GetPosition(), root.GetRoot())), nil
}

// inTrouble holds a node that found something wrong to the failure table: no read
// and no write is answered, with reason and position, health says so, log and
// verify still work and name it, and the process stays up.
func (c *coop) inTrouble(t testing.TB, s *served, binary string, position uint64, reason string) {
	t.Helper()
	if !strings.Contains(s.Trouble, reason) || s.Trouble == "" {
		t.Fatalf("the trouble is %q, must tell of %q", s.Trouble, reason)
	}
	c.connect(t, s.GRPC)
	for _, q := range append(c.questions(), question{
		c.registrar, coopv1.CoopService_RecordField_FullMethodName, &coopv1.RecordFieldRequest{RequestId: newID(), Name: "Elsewhere"},
		func() proto.Message { return &coopv1.RecordFieldResponse{} },
	}) {
		_, err := q.ask(soon(t))
		if status.Code(err) != codes.Unavailable || reasonOf(err) != "NODE_IN_TROUBLE" || detail(err, "position") != fmt.Sprint(position) {
			t.Fatalf("%s: %v (reason %q, position %q, must be %d)", q.method, err, reasonOf(err), detail(err, "position"), position)
		}
	}
	if got := health(t, s.GRPC); got != healthpb.HealthCheckResponse_NOT_SERVING {
		t.Fatalf("health is %v", got)
	}
	if r := run(t, binary, "log", "--data", c.dir, "--json"); r.code != 6 || !strings.HasPrefix(r.stdout, "[") || !strings.Contains(r.failure(t).Message, s.Trouble) {
		t.Fatalf("log ended with exit code %d\n%.300s\n%s", r.code, r.stdout, r.stderr)
	}
	select {
	case <-s.done:
		t.Fatalf("the process ended with exit code %d", s.code)
	default:
	}
	s.stop(t)
	if r := run(t, binary, "verify", "--data", c.dir, "--json"); r.code != 6 || !strings.Contains(r.failure(t).Message, s.Trouble) {
		t.Fatalf("verify ended with exit code %d\n%s%s", r.code, r.stdout, r.stderr)
	}
}

func health(t testing.TB, addr string) healthpb.HealthCheckResponse_ServingStatus {
	t.Helper()
	conn := must(grpc.NewClient(addr, grpc.WithTransportCredentials(insecure.NewCredentials())))(t)
	defer conn.Close()
	return must(healthpb.NewHealthClient(conn).Check(soon(t), &healthpb.HealthCheckRequest{}))(t).GetStatus()
}

func hexOf(b []byte) string { return hex.EncodeToString(b) }

func textOf(t testing.TB, v any) string {
	t.Helper()
	return string(must(json.Marshal(v))(t))
}
