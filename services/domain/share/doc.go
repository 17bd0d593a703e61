// Package share computes what each party of an agreement has earned from a
// parcel, to the minor unit (the cent).
//
// Everything here is a pure function of an Agreement and of the parcel's Totals
// so far: no clock, no storage, no memory of the way there. So the order of sales
// can't change anything, and a full return restores every entitlement exactly.
// What is posted at a receipt, a cost, a return or a correction is the difference
// between the Shares after and before (Post).
//
//  1. Levy: per sale, in whole minor units, off the top (LevyRule).
//  2. Proceeds: sales received less their levies, poured through the tiers in
//     order. A Recoup pays one account until its target. A Split shares by ratio,
//     unit after unit, by the quota method (Quota), until its ceiling; the last
//     tier is a split without one, so nothing is ever left over.
//  3. Price: the money paid for the parcel itself goes to its seller, less its
//     own levy, and through no tier.
//  4. Conservation: levies + costs + shares = received, to the minor unit. "Costs"
//     is what recoup tiers paid back to the co-op (CoOp); what they pay a party is
//     part of that party's share.
//
// # A levy borne by one party
//
// "Borne by X" means that the others get what they would have had without that
// levy, paid for from X's share. A pure function of totals can't promise that and
// also that no receipt ever lowers X's net: X may be paid by an early tier, and a
// later sale then makes the others' loss, and so X's debt, larger. Therefore the two
// are kept apart and both are visible. The pour (PartyShare.Poured) never falls when
// money comes in. The burden (Burden) is what X owes the others for the levy and
// what X's poured share could pay of it; X never goes below zero, and the rest stays
// open. Where no levy is borne by a single party, pour and net are the same.
//
// All amounts are int64 minor units of the agreement's currency, excluding tax
// collected, and at most MaxAmount; anything larger is refused. Values are not
// changed by any function here, so all may be used from many goroutines.
package share
