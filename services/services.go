// Package services puts the co-op's gRPC services together.
package services

import (
	"crypto/ed25519"
	"time"

	"google.golang.org/grpc"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/coop"
	"seamshare.example/services/cutter"
	"seamshare.example/services/jeweller"
	"seamshare.example/services/miner"
	"seamshare.example/services/page"
	"seamshare.example/services/personal"
	"seamshare.example/services/photo"
)

// All is every service of a node, and the guard before them.
type All struct {
	Guard *access.Guard
	// Personal are the keys of persons; nil where another node of the co-op keeps
	// them. Set before Register.
	Personal *personal.Keys
	// Photos are the pictures; nil where another node of the co-op keeps them. Set
	// before Register.
	Photos *photo.Store

	node   *eventstore.Node
	issuer *access.Issuer
	tokens page.Token
}

// New makes the services of a node. key is its token key: bearer tokens are signed
// with it, and page tokens with another that is derived from it.
func New(node *eventstore.Node, key ed25519.PrivateKey) (*All, error) {
	tokens, err := page.NewToken(key.Seed())
	if err != nil {
		return nil, err
	}
	issuer := access.NewIssuer(node.Coop(), key, time.Now)
	return &All{Guard: access.NewGuard(issuer, access.At(node)), node: node, issuer: issuer, tokens: tokens}, nil
}

// Register adds the services to a server.
func (a *All) Register(r grpc.ServiceRegistrar) {
	coopv1.RegisterAccessServiceServer(r, coop.NewAccess(a.node, a.issuer))
	coopv1.RegisterCoopServiceServer(r, coop.New(a.node, a.tokens, a.Personal))
	coopv1.RegisterNodeServiceServer(r, coop.NewNode(a.node, a.Photos))
	coopv1.RegisterPhotoServiceServer(r, coop.NewPhotos(a.node, a.Photos))
	minerv1.RegisterMinerServiceServer(r, miner.New(a.node, a.tokens))
	cutterv1.RegisterCutterServiceServer(r, cutter.New(a.node, a.tokens))
	jewellerv1.RegisterJewellerServiceServer(r, jeweller.New(a.node, a.tokens))
}
