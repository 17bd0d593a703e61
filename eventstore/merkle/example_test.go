package merkle_test

import (
	"bytes"
	"fmt"
	"os"

	"seamshare.example/eventstore/merkle"
)

// A log of three records: the tree grows with each commit, its checkpoint is
// signed, and one stone's chain goes out to someone who has only the key.
func Example() {
	dir, err := os.MkdirTemp("", "signer")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	signer, err := merkle.CreateSigner(merkle.SignerFiles{Dir: dir}, "opal.example/log")
	if err != nil {
		panic(err)
	}

	records := [][]byte{[]byte("rough: 41 g"), []byte("another stone"), []byte("cut: 3.2 g")}
	tree := merkle.New(newTiles())
	for _, record := range records {
		// The full tiles go into the commit's transaction; then the new tree may be seen.
		next, _ := tree.With([]merkle.Hash{merkle.LeafHash(record)})
		tree = next
	}
	checkpoint, err := signer.SignTree(tree)
	if err != nil {
		panic(err)
	}

	chain := merkle.Chain{Subject: "stone/1", Checkpoint: checkpoint}
	for _, index := range []uint64{0, 2} {
		proof, err := tree.InclusionProof(index, checkpoint.Size)
		if err != nil {
			panic(err)
		}
		chain.Leaves = append(chain.Leaves, merkle.ChainLeaf{Index: index, Data: records[index], Proof: proof})
	}
	var file bytes.Buffer
	if err := merkle.WriteChain(&file, chain, signer); err != nil {
		panic(err)
	}

	read, err := merkle.ParseChain(file.Bytes(), signer.Verifier())
	if err != nil {
		panic(err)
	}
	for _, leaf := range read.Leaves {
		fmt.Printf("position %d: %s\n", leaf.Index+1, leaf.Data)
	}

	forged := bytes.Replace(file.Bytes(), []byte("index 2"), []byte("index 1"), 1)
	_, err = merkle.ParseChain(forged, signer.Verifier())
	fmt.Println(err)

	// Output:
	// position 1: rough: 41 g
	// position 3: cut: 3.2 g
	// the chain's leaf at log position 2 is refused: leaf 1 of the tree of size 3: the proof does not lead to the root
}
