package wire

import (
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/rule"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// Draft shows a draft to its seller.
func Draft(d *parcelv1.Draft) *minerv1.Draft {
	out := &minerv1.Draft{
		Label: d.GetLabel(), Total: Weighing(d.GetTotal()), Treatment: typev1.Treatment(d.GetTreatment()), KeptWet: d.GetKeptWet(),
		Mined: d.GetMined(), Split: d.GetSplit(), OpenAtAsking: d.GetOpenAtAsking(), Agreement: Agreement(d.GetAgreement()), Note: d.GetNote(),
	}
	for _, l := range d.GetLines() {
		out.Pieces = append(out.Pieces, &minerv1.DraftLine{
			Label: l.GetLabel(), Weighing: Weighing(l.GetWeighing()), Size: Size(l.GetSize()), Kind: typev1.Kind(l.GetKind()), Count: l.GetCount(),
			ClaimId: l.GetClaimId(), Seen: l.GetSeen(), SmallestUm: l.GetSmallestUm(), LargestUm: l.GetLargestUm(),
			Photos: photos(l.GetPhotos()),
		})
	}
	return out
}

// ReadDraft reads a draft at field of the request. Money that can't be read is noted;
// everything else may be wrong until it is listed.
func ReadDraft(broken *rule.All, field string, d *minerv1.Draft) *parcelv1.Draft {
	out := &parcelv1.Draft{
		Label: d.GetLabel(), Total: ReadWeighing(d.GetTotal()), Treatment: eventv1.Treatment(d.GetTreatment()), KeptWet: d.GetKeptWet(),
		Mined: d.GetMined(), Split: d.GetSplit(), OpenAtAsking: d.GetOpenAtAsking(), Note: d.GetNote(),
	}
	if d.GetAgreement() != nil {
		out.Agreement = ReadAgreement(broken, field+".agreement", d.GetAgreement())
	}
	for _, l := range d.GetPieces() {
		out.Lines = append(out.Lines, &parcelv1.DraftLine{
			Label: l.GetLabel(), Weighing: ReadWeighing(l.GetWeighing()), Size: ReadSize(l.GetSize()), Kind: eventv1.Kind(l.GetKind()), Count: l.GetCount(),
			ClaimId: l.GetClaimId(), Seen: l.GetSeen(), SmallestUm: l.GetSmallestUm(), LargestUm: l.GetLargestUm(),
			Photos: PhotosIn(l.GetPhotos()),
		})
	}
	return out
}
