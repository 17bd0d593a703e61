package member

import "seamshare.example/services/domain/stage"

// Table is a member's life.
var Table = stage.Table{
	Thing:  "member",
	States: []string{"admitted", "suspended", "removed"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CoopService/AdmitMember", By: "a registrar", To: "admitted", Needs: "a trading name and what it does here, which is nothing of the desk"},
		{From: "admitted", Do: "CoopService/SetMemberRoles", By: "a registrar", To: "admitted", Needs: "a reason", Moves: "its persons lose the roles that are gone"},
		{From: "admitted", Do: "CoopService/SuspendMember", By: "a registrar of another member", To: "suspended", Needs: "a reason", Moves: "none of its persons acts for it"},
		{From: "suspended", Do: "CoopService/ReinstateMember", By: "a registrar of another member", To: "admitted", Needs: "a reason", Moves: "its persons act for it again"},
		{From: "admitted", Do: "CoopService/RemoveMember", By: "a registrar of another member", To: "removed", Needs: "a reason", Moves: "what was earned stays owed"},
		{From: "suspended", Do: "CoopService/RemoveMember", By: "a registrar of another member", To: "removed", Needs: "a reason", Moves: "what was earned stays owed"},
	},
}

// PersonTable is a person's life.
var PersonTable = stage.Table{
	Thing:  "person",
	States: []string{"admitted", "suspended", "removed"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CoopService/AddPerson", By: "a registrar", To: "admitted", Needs: "a member that stands, a key, a role that the member has"},
		{From: "admitted", Do: "CoopService/GrantRole", By: "a registrar", To: "admitted", Needs: "a role that the member has and the person hasn't"},
		{From: "admitted", Do: "CoopService/RevokeRole", By: "a registrar", To: "admitted", Needs: "a reason"},
		{From: "suspended", Do: "CoopService/RevokeRole", By: "a registrar", To: "suspended", Needs: "a reason"},
		{From: "removed", Do: "CoopService/RevokeRole", By: "a registrar", To: "removed", Needs: "a reason"},
		{From: "admitted", Do: "CoopService/SuspendPerson", By: "another registrar", To: "suspended", Needs: "a reason", Moves: "their tokens count no more"},
		{From: "suspended", Do: "CoopService/ReinstatePerson", By: "another registrar", To: "admitted", Needs: "a reason"},
		{From: "admitted", Do: "CoopService/RemovePerson", By: "another registrar", To: "removed", Needs: "a reason", Moves: "their tokens count no more"},
		{From: "suspended", Do: "CoopService/RemovePerson", By: "another registrar", To: "removed", Needs: "a reason", Moves: "their tokens count no more"},
	},
}

// KeyTable is a key's life.
var KeyTable = stage.Table{
	Thing:  "key",
	States: []string{"in use", "revoked", "lost", "replaced"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CoopService/AddKey", By: "its owner", To: "in use", Needs: "a key that is nobody's"},
		{From: "in use", Do: "CoopService/RevokeKey", By: "a registrar", To: "revoked", Needs: "a reason", Moves: "its tokens count no more"},
		{From: "in use", Do: "CoopService/AskKeyReplacement", By: "a registrar who isn't its owner", To: "lost", Needs: "a reason, and a key that is nobody's", Moves: "its tokens count no more"},
		{From: "revoked", Do: "CoopService/AskKeyReplacement", By: "a registrar who isn't its owner", To: "lost", Needs: "a reason, and a key that is nobody's"},
		{From: "lost", Do: "CoopService/ConfirmKeyReplacement", By: "a second person of the desk who isn't its owner", To: "replaced", Needs: "the two were stated to be two people", Moves: "the new key is in use"},
		{From: "lost", Do: "CoopService/RefuseKeyReplacement", By: "a second person of the desk who isn't its owner", To: "revoked", Needs: "a reason; the two were stated to be two people"},
	},
}
