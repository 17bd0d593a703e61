// Package access says who calls and whether they may.
//
// A person has Ed25519 keys, whose public halves are recorded in the log. With
// one of them they sign an assertion (RFC 7523), for which the Issuer gives a
// bearer token: short-lived, signed with the node's own key, naming person and
// member but no roles. At each call the Guard reads the token, looks up what the
// person may do now, and holds that against the rule that the rpc's option
// states. Since that was true before the command's turn came, each decision
// calls Recheck at the tip of the log.
package access
