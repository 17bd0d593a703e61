package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/encoding/protojson"

	"seamshare.example/eventstore"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/stream"
)

// atNode does something with the node on the data folder: through its socket
// where it runs, else by opening the folder.
func (s *session) atNode(ctx context.Context, running func(coopv1.NodeServiceClient) error, stopped func(*openNode) error) error {
	if _, err := os.Stat(socketPath(s.dataDir)); err == nil {
		conn, err := grpc.NewClient("unix:"+socketPath(s.dataDir), grpc.WithTransportCredentials(insecure.NewCredentials()),
			grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(4<<20)))
		if err != nil {
			return fmt.Errorf("couldn't connect to the node: %w", err)
		}
		defer conn.Close()
		probe, cancel := context.WithTimeout(ctx, 2*time.Second)
		defer cancel()
		client := coopv1.NewNodeServiceClient(conn)
		if _, err := client.GetStatus(probe, &coopv1.GetStatusRequest{}); err == nil {
			return running(client)
		}
		// A node that was killed left its socket: nobody answers there.
	}
	bar := s.progress("opening the log")
	n, err := openData(ctx, s.dataDir, nodeOptions{progress: bar.sequence})
	bar.done()
	if err != nil {
		return err
	}
	defer n.Close()
	return stopped(n)
}

func (s *session) logCommand() *cobra.Command {
	var from, limit uint64
	c := &cobra.Command{
		Use:   "log",
		Short: "Print what was recorded, record by record",
		Long: `log prints the records of the node in --data, whether it runs or not, private
parts included: it is for those who may read the folder. With --json it prints one
JSON array. From a node in trouble it prints what can be read, and says the trouble.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			settings, err := readSettings(s.dataDir)
			if err != nil {
				return err
			}
			p := &logPrinter{w: s.stdout, json: s.json, coop: settings.Coop, codec: eventstore.NewCodec(stream.Events()...), from: eventstore.Position(max(1, from)), left: limit}
			trouble := ""
			err = s.atNode(c.Context(), func(client coopv1.NodeServiceClient) error {
				status, err := client.GetStatus(c.Context(), &coopv1.GetStatusRequest{})
				if err != nil {
					return err
				}
				trouble = status.GetTrouble()
				stream, err := client.ReadLog(c.Context(), &coopv1.ReadLogRequest{})
				for err == nil {
					var m *coopv1.ReadLogResponse
					if m, err = stream.Recv(); err == nil {
						err = p.print(eventstore.Message{Sequence: eventstore.Sequence(m.GetSequence()), Data: m.GetData()})
					}
				}
				return err
			}, func(n *openNode) error {
				if t := n.Trouble(); t != nil {
					trouble = t.Error()
				}
				status, err := n.log.Status(c.Context())
				if errors.Is(err, eventstore.ErrNoLog) {
					return p.printStored(n)
				}
				if err != nil {
					return err
				}
				// One by one: following would wait for ever for a commit that is lost.
				for seq := eventstore.Sequence(1); seq <= status.Last && err == nil; seq++ {
					var m eventstore.Message
					if m, err = n.log.Read(c.Context(), seq); err == nil {
						err = p.print(m)
					}
				}
				return err
			})
			if errors.Is(err, eventstore.ErrCorrupt) || errors.Is(err, eventstore.ErrNoMessage) {
				return unverified("LOG_UNREADABLE", err.Error(), err)
			}
			if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, errEnough) {
				return err
			}
			if err := p.end(); err != nil {
				return err
			}
			if trouble == "" {
				if p.count == 0 {
					fmt.Fprintf(s.stderr, "There is no record at position %d or after it: the last one is at %d.\n", p.from, p.last)
				}
				return nil
			}
			return unverified("TROUBLE", "what could be read was printed; "+trouble, nil)
		},
	}
	c.Flags().Uint64Var(&from, "from", 1, "the first `position` to print")
	c.Flags().Uint64Var(&limit, "limit", 0, "print this many `records` at most; 0: all")
	return c
}

// errEnough ends a listing that has printed all it was asked for.
var errEnough = errors.New("enough was printed")

// logPrinter prints commits' records as they come.
type logPrinter struct {
	w     io.Writer
	json  bool
	coop  string
	codec eventstore.Codec
	from  eventstore.Position
	left  uint64 // 0: no limit
	count uint64
	last  eventstore.Position // read so far, printed or not
}

// printStored prints the store's copy, where there is no log.
func (p *logPrinter) printStored(n *openNode) error {
	q, err := n.Inspect()
	if err != nil {
		return err
	}
	defer q.Close()
	for seq := eventstore.Sequence(1); seq <= q.Checkpoint().Sequence; seq++ {
		m, err := q.Message(seq)
		if err != nil {
			return err
		}
		if err := p.print(m); err != nil {
			return err
		}
	}
	return nil
}

func (p *logPrinter) print(m eventstore.Message) error {
	info, records, err := eventstore.ReadMessage(p.codec, p.coop, m)
	if err != nil {
		return &failure{
			Exit: exitUnverified, Reason: "LOG_UNREADABLE", Message: fmt.Sprintf("commit %d can't be read: %v", m.Sequence, err), Err: err,
			Hint: "run seamshare verify; a newer version of the program may be needed",
		}
	}
	at := 0
	for _, d := range info.Decisions {
		for range d.Records {
			r := records[at]
			at++
			p.last = r.Position
			if r.Position < p.from {
				continue
			}
			if err := p.record(info, d, r); err != nil {
				return err
			}
			if p.count++; p.left > 0 && p.count >= p.left {
				return errEnough
			}
		}
	}
	return nil
}

func (p *logPrinter) record(info eventstore.CommitInfo, d eventstore.DecisionInfo, r eventstore.Record) error {
	body, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(r.Event)
	if err != nil {
		return fmt.Errorf("couldn't print the record at position %d: %w", r.Position, err)
	}
	if !p.json {
		m := r.Event.ProtoReflect()
		name := m.WhichOneof(m.Descriptor().Oneofs().Get(0)).Name()
		rpc := d.RPC[strings.LastIndexByte(d.RPC, '/')+1:]
		say(p.w, "%6d  %s  %-24s %s  (%s)", r.Position, r.DecidedAt.Format(time.RFC3339), name, r.Stream, rpc)
		return nil
	}
	entry, err := json.Marshal(struct {
		Position  uint64          `json:"position"`
		Sequence  uint64          `json:"sequence"`
		DecidedAt string          `json:"decided_at"`
		Stream    string          `json:"stream"`
		Version   uint64          `json:"stream_version"`
		Type      uint32          `json:"type"`
		RPC       string          `json:"rpc"`
		Member    string          `json:"member"`
		Person    string          `json:"person"`
		Day       string          `json:"effective_date,omitempty"`
		Event     json.RawMessage `json:"event"`
	}{
		uint64(r.Position), uint64(info.Sequence), r.DecidedAt.Format(time.RFC3339Nano), string(r.Stream), r.Version, r.Type,
		d.RPC, r.Member, r.Person, r.EffectiveDate, body,
	})
	if err != nil {
		return fmt.Errorf("couldn't print the record at position %d: %w", r.Position, err)
	}
	lead := ",\n"
	if p.count == 0 {
		lead = "[\n"
	}
	fmt.Fprintf(p.w, "%s%s", lead, entry)
	return nil
}

func (p *logPrinter) end() error {
	switch {
	case !p.json:
	case p.count == 0:
		say(p.w, "[]")
	default:
		say(p.w, "\n]")
	}
	return nil
}
