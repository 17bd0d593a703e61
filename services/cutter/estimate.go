package cutter

import (
	"context"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"

	"seamshare.example/services/estimate"
)

// EstimateStone implements cutterv1.CutterServiceServer.
func (s *Server) EstimateStone(ctx context.Context, req *cutterv1.EstimateStoneRequest) (*cutterv1.EstimateStoneResponse, error) {
	release, err := s.reckon(ctx) // a surface through many heights takes a while
	if err != nil {
		return nil, err
	}
	defer release()
	return estimate.Stone(req)
}

// EstimateGravity implements cutterv1.CutterServiceServer.
func (s *Server) EstimateGravity(_ context.Context, req *cutterv1.EstimateGravityRequest) (*cutterv1.EstimateGravityResponse, error) {
	return estimate.Gravity(req)
}

// EstimateSlabs implements cutterv1.CutterServiceServer.
func (s *Server) EstimateSlabs(_ context.Context, req *cutterv1.EstimateSlabsRequest) (*cutterv1.EstimateSlabsResponse, error) {
	return estimate.Slabs(req)
}

// EstimateSeams implements cutterv1.CutterServiceServer.
func (s *Server) EstimateSeams(_ context.Context, req *cutterv1.EstimateSeamsRequest) (*cutterv1.EstimateSeamsResponse, error) {
	return estimate.Seams(req)
}

// EstimateChoice implements cutterv1.CutterServiceServer.
func (s *Server) EstimateChoice(_ context.Context, req *cutterv1.EstimateChoiceRequest) (*cutterv1.EstimateChoiceResponse, error) {
	return estimate.Choice(req)
}

// EstimateInclusion implements cutterv1.CutterServiceServer.
func (s *Server) EstimateInclusion(_ context.Context, req *cutterv1.EstimateInclusionRequest) (*cutterv1.EstimateInclusionResponse, error) {
	return estimate.Inclusion(req)
}
