package main

import (
	"cmp"
	"slices"
)

// The ways to do the command. The first two are ours, the others the peer's.
const (
	inProcess       = "in_process"
	overGRPC        = "grpc"
	peerTransaction = "transaction"
	peerStatement   = "statement"
)

// report is all that a bench found: the one document of --json.
type report struct {
	Machine  machine  `json:"machine"`
	Settings settings `json:"settings"`
	Command  string   `json:"command"`
	// PerCommand is what a command wrote to the node's store over all runs, shares in
	// the rows of its commit included; PeerRows is what it writes to PostgreSQL.
	PerCommand perCommand `json:"per_command"`
	Rounds     []round    `json:"rounds"`
	Ratios     []ratio    `json:"ratios"`
	Aims       []aim      `json:"aims"`
	Rebuild    *rebuild   `json:"rebuild,omitempty"`
	Start      *start     `json:"start,omitempty"`
}

type settings struct {
	Dir          string            `json:"dir"`
	Rounds       int               `json:"rounds"`
	Callers      []int             `json:"callers"`
	Pieces       int               `json:"pieces"`
	WarmMs       int64             `json:"warm_ms"`
	WindowMs     int64             `json:"window_ms"`
	Pools        map[string]int    `json:"pools,omitempty"` // connections to PostgreSQL at most, by form
	PostgreSQL   map[string]string `json:"postgresql,omitempty"`
	PerGRPCConn  int               `json:"callers_per_grpc_connection"`
	ProfilesKept bool              `json:"profiled"`
}

type perCommand struct {
	Rows     float64 `json:"rows"`
	Bytes    float64 `json:"bytes"`
	PeerRows int     `json:"peer_rows,omitempty"`
}

type round struct {
	Round int    `json:"round"`
	Load  string `json:"load"` // at its start, as /proc/loadavg says
	Probe probe  `json:"fdatasync"`
	Runs  []run  `json:"runs"`
}

type run struct {
	Callers     int    `json:"callers"`
	Path        string `json:"path"`
	Connections int    `json:"connections,omitempty"`
	// CPUus is the processor time that this process took for a command: what the wall
	// clock can't tell on a machine that isn't quiet. Of the peer it would be the client's
	// part only, so it is given for our own paths.
	CPUus float64 `json:"cpu_us,omitempty"`
	sample
}

// ratio is how many times as many commands a second one path did as one form of the
// peer: the median over the rounds, in each of which the two ran close together.
type ratio struct {
	Callers int     `json:"callers"`
	Path    string  `json:"path"`
	Peer    string  `json:"peer"`
	Median  float64 `json:"median"`
	Least   float64 `json:"least"`
	Most    float64 `json:"most"`
}

// aim is what the project set itself for the path in process.
type aim struct {
	Callers int     `json:"callers"`
	Peer    string  `json:"peer"`
	AtLeast float64 `json:"at_least"`
	Median  float64 `json:"median"`
	Met     bool    `json:"met"`
}

func ratios(rounds []round) (out []ratio) {
	type pair struct {
		callers    int
		path, peer string
	}
	found := map[pair][]float64{}
	var order []pair
	for _, r := range rounds {
		for _, ours := range r.Runs {
			if ours.Path != inProcess && ours.Path != overGRPC {
				continue
			}
			for _, theirs := range r.Runs {
				if theirs.Callers != ours.Callers || theirs.Path == inProcess || theirs.Path == overGRPC || theirs.PerSecond == 0 {
					continue
				}
				p := pair{ours.Callers, ours.Path, theirs.Path}
				if found[p] == nil {
					order = append(order, p)
				}
				found[p] = append(found[p], ours.PerSecond/theirs.PerSecond)
			}
		}
	}
	slices.SortFunc(order, func(a, b pair) int {
		return cmp.Or(cmp.Compare(a.callers, b.callers), -cmp.Compare(a.path, b.path), -cmp.Compare(a.peer, b.peer))
	})
	out = make([]ratio, 0, len(order)) // an empty list in JSON, not null
	for _, p := range order {
		all := found[p]
		slices.Sort(all)
		out = append(out, ratio{p.callers, p.path, p.peer, median(all), all[0], all[len(all)-1]})
	}
	return out
}

// median of sorted values.
func median(sorted []float64) float64 {
	n := len(sorted)
	if n == 0 {
		return 0
	}
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

func aims(ratios []ratio) []aim {
	out := []aim{
		{Callers: 256, Peer: peerTransaction, AtLeast: 10},
		{Callers: 256, Peer: peerStatement, AtLeast: 5},
		{Callers: 64, Peer: peerTransaction, AtLeast: 5},
		{Callers: 64, Peer: peerStatement, AtLeast: 3},
		{Callers: 1, Peer: peerTransaction, AtLeast: 1},
		{Callers: 1, Peer: peerStatement, AtLeast: 1},
	}
	measured := make([]aim, 0, len(out))
	for _, a := range out {
		for _, r := range ratios {
			if r.Callers == a.Callers && r.Peer == a.Peer && r.Path == inProcess {
				a.Median, a.Met = r.Median, r.Median >= a.AtLeast
				measured = append(measured, a)
			}
		}
	}
	return measured
}
