package main

import (
	"crypto/ed25519"
	"fmt"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/access"
)

const demoRegistrar = "registrar"

// gather records fields, members, persons and claims.
func (d *demo) gather(made founded) error {
	key, err := access.ReadKey(made.Key)
	if err != nil {
		return err
	}
	registrar, err := d.enter(made.Member, made.Registrar, key)
	if err != nil {
		return err
	}
	d.people[demoRegistrar] = registrar
	d.names[made.Member] = demoCoop
	for _, f := range demoFields {
		a, err := registrar.coop().RecordField(d.ctx, &coopv1.RecordFieldRequest{RequestId: d.id(), Name: f.name, Country: f.country})
		if err != nil {
			return err
		}
		d.fields[f.name] = a.GetField().GetId()
	}
	t := table.New(wrapped("member"), text("person"), wrapped("may act as"))
	for _, m := range demoMembers {
		a, err := registrar.coop().AdmitMember(d.ctx, &coopv1.AdmitMemberRequest{RequestId: d.id(), TradingName: m.name, Roles: m.roles})
		if err != nil {
			return err
		}
		memberID := a.GetMember().GetId()
		d.names[memberID], d.called[memberID] = m.name, m.name
		p, err := d.add(m, memberID, "person 1")
		if err != nil {
			return err
		}
		t.Row(m.name, p.GetLabel(), words(p.GetRoles()))
	}
	persons := map[string]string{}
	for _, at := range demoDesk {
		p, err := d.add(at, made.Member, at.name)
		if err != nil {
			return err
		}
		persons[at.name] = p.GetId()
		t.Row(demoCoop, p.GetLabel(), words(p.GetRoles()))
	}
	for _, c := range demoClaims {
		a, err := d.people[c.miner].miner().RecordClaim(d.ctx, &minerv1.RecordClaimRequest{RequestId: d.id(), FieldId: d.fields[c.field], Name: c.name})
		if err != nil {
			return err
		}
		d.claims[c.name] = a.GetClaim().GetId()
	}
	_, err = d.people[deskStock].coop().StateTwoPeople(d.ctx, &coopv1.StateTwoPeopleRequest{
		RequestId: d.id(), PersonId: persons[deskBooks], OtherPersonId: persons[deskApprove], Basis: demoTwoPeople,
	})
	if err != nil {
		return err
	}
	d.tell("All of this is invented. %s has two fields: %s (%s) and %s (%s). %s works Claim 4 and Claim 11 on the first, %s works Claim 2 on the second; "+
		"two members cut, two set stones, and a desk of four keeps the co-op's books and safe. Each person acts with a key of their own:",
		demoCoop, demoFields[0].name, demoFields[0].country, demoFields[1].name, demoFields[1].country, demoMiner, demoSharer)
	if err := d.print(t); err != nil {
		return err
	}
	d.tell("The registrar, who let them in, might hold their keys. So it is %s who knows desk 1 and desk 2, and states that they are two people (“%s”): a key isn't a person, and money needs two.", deskStock, demoTwoPeople)
	return nil
}

// add gives a member one person, with a key made for them.
func (d *demo) add(who demoPerson, memberID, label string) (*coopv1.Person, error) {
	key, err := access.NewKey()
	if err != nil {
		return nil, err
	}
	a, err := d.people[demoRegistrar].coop().AddPerson(d.ctx, &coopv1.AddPersonRequest{
		RequestId: d.id(), MemberId: memberID, Label: label, PublicKey: key.Public().(ed25519.PublicKey), Roles: who.roles,
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", who.name, err)
	}
	p := a.GetPerson()
	d.called[p.GetId()] = who.name
	d.people[who.name], err = d.enter(memberID, p.GetId(), key)
	return p, err
}

func (d *demo) enter(memberID, personID string, key ed25519.PrivateKey) (*actor, error) {
	conn, err := d.dial(access.SignIn{Key: key, Person: personID, Member: memberID, Coop: d.coopID})
	if err != nil {
		return nil, err
	}
	return &actor{memberID, conn}, nil
}

// memberOf finds a member's id by its name.
func (d *demo) memberOf(name string) string { return d.people[name].memberID }

// call names a parcel, its pieces and its stones as people do.
func (d *demo) call(p *typev1.Parcel) {
	d.parcels[p.GetLabel()] = p
	d.called[p.GetId()] = "parcel " + p.GetLabel()
}
