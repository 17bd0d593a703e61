package fault

import (
	"google.golang.org/grpc/codes"

	"seamshare.example/services/domain/rule"
)

// Reason is a refusal's stable name, in ErrorInfo. Programs match on it, so a
// reason is never renamed.
type Reason string

// The catalogue. Each reason has a code and a line in about below. The domain's
// reasons stand in services/domain/rule and are named apart from these.
const (
	// Sign-in.
	TokenMissing       Reason = "TOKEN_MISSING"
	TokenInvalid       Reason = "TOKEN_INVALID"
	TokenExpired       Reason = "TOKEN_EXPIRED"
	TokenOfAnotherCoop Reason = "TOKEN_OF_ANOTHER_COOP"
	AssertionInvalid   Reason = "ASSERTION_INVALID"
	AssertionExpired   Reason = "ASSERTION_EXPIRED"
	AssertionReplayed  Reason = "ASSERTION_REPLAYED"

	// Rights.
	RoleMissing  Reason = "ROLE_MISSING"
	MemberClosed Reason = "MEMBER_CLOSED"
	MethodClosed Reason = "METHOD_CLOSED"

	// The request.
	InvalidRequest   Reason = "INVALID_REQUEST"
	MalformedRequest Reason = "MALFORMED_REQUEST"
	PageTokenInvalid Reason = "PAGE_TOKEN_INVALID"
	RequestIDReused  Reason = "REQUEST_ID_REUSED"
	CommandTooBig    Reason = "COMMAND_TOO_BIG"

	// The HTTP gateway's own; it can't import them, its tests hold it to them.
	RequestTooLarge  Reason = "REQUEST_TOO_LARGE"
	PathNotFound     Reason = "PATH_NOT_FOUND"
	MethodNotAllowed Reason = "METHOD_NOT_ALLOWED"

	// The node.
	OutcomeUnknown    Reason = "OUTCOME_UNKNOWN"
	DeadlineEnded     Reason = "DEADLINE_ENDED"
	CallerLeft        Reason = "CALLER_LEFT"
	TooManyRequests   Reason = "TOO_MANY_REQUESTS"
	NodeBusy          Reason = "NODE_BUSY"
	LowDisk           Reason = "LOW_DISK"
	NodeStopping      Reason = "NODE_STOPPING"
	NodeInTrouble     Reason = "NODE_IN_TROUBLE"
	PositionNotThere  Reason = "POSITION_NOT_THERE"
	StorageFailed     Reason = "STORAGE_FAILED"
	NodeNotSigning    Reason = "NODE_NOT_SIGNING"
	NodeKeepsNoKeys   Reason = "NODE_KEEPS_NO_KEYS"
	NodeKeepsNoPhotos Reason = "NODE_KEEPS_NO_PHOTOS"
	InternalError     Reason = "INTERNAL_ERROR"
)

type entry struct {
	code  codes.Code
	about string
}

var about = map[Reason]entry{
	TokenMissing:       {codes.Unauthenticated, "The call carries no bearer token; get one with IssueToken."},
	TokenInvalid:       {codes.Unauthenticated, "The bearer token is not one that this server gave; get a new one with IssueToken."},
	TokenExpired:       {codes.Unauthenticated, "The bearer token's time is over; get a new one with IssueToken."},
	TokenOfAnotherCoop: {codes.Unauthenticated, "The token or assertion is for another co-operative."},
	AssertionInvalid:   {codes.Unauthenticated, "The signed assertion is malformed, not signed with the person's key, or for nobody who is known here."},
	AssertionExpired:   {codes.Unauthenticated, "The assertion's time is over or lies too far ahead; sign a new one, and check the clock."},
	AssertionReplayed:  {codes.Unauthenticated, "The assertion was used before; sign a new one for each token."},

	RoleMissing:  {codes.PermissionDenied, "The person has none of the roles that the call needs, for the member they act for."},
	MemberClosed: {codes.PermissionDenied, "The person or the member no longer stands."},
	MethodClosed: {codes.PermissionDenied, "The call has no rule that lets anyone in."},

	InvalidRequest:   {codes.InvalidArgument, "Fields of the request break their rules; all are listed."},
	MalformedRequest: {codes.InvalidArgument, "The bytes are not the message that the call takes."},
	PageTokenInvalid: {codes.InvalidArgument, "The page token was not given by this server for this list, filter and member; start at the first page."},
	RequestIDReused:  {codes.AlreadyExists, "The request id was used before for something else; take a new one."},
	CommandTooBig:    {codes.InvalidArgument, "The command would record more than one command may; split it."},

	RequestTooLarge:  {codes.ResourceExhausted, "The body has more bytes than one request may; send less at once."},
	PathNotFound:     {codes.NotFound, "Nothing is served at this path."},
	MethodNotAllowed: {codes.Unimplemented, "The path is called with another HTTP method."},

	// DEADLINE_EXCEEDED, as gRPC's own text for it is what we mean: the operation may have
	// completed even though this is returned. A client whose own clock ends the call sees the
	// same code without details, and must do the same.
	OutcomeUnknown:    {codes.DeadlineExceeded, "The command may or may not have happened; repeat it with the same request id to learn."},
	DeadlineEnded:     {codes.DeadlineExceeded, "The call's time ended before there was an answer; repeat it with the same request id."},
	CallerLeft:        {codes.Canceled, "The caller gave up."},
	TooManyRequests:   {codes.ResourceExhausted, "This member or address calls too often; wait as RetryInfo says."},
	NodeBusy:          {codes.ResourceExhausted, "Too many commands wait on this node; wait as RetryInfo says."},
	LowDisk:           {codes.ResourceExhausted, "The node's disk is nearly full and nothing is written; reads go on."},
	NodeStopping:      {codes.Unavailable, "The node is stopping; try again or on another node."},
	NodeInTrouble:     {codes.Unavailable, "The node found its data not as it must be and waits for a person; the position says where."},
	PositionNotThere:  {codes.Unavailable, "The node has not reached min_position in time."},
	StorageFailed:     {codes.Unavailable, "The node's storage failed and the node stops."},
	NodeNotSigning:    {codes.FailedPrecondition, "Checkpoints and chain files come from the one node of the co-op that signs; ask that one."},
	NodeKeepsNoPhotos: {codes.FailedPrecondition, "Pictures are kept by another node of the co-op; ask that one."},
	NodeKeepsNoKeys:   {codes.FailedPrecondition, "Facts about persons are kept and opened by the one node of the co-op that keeps their keys; ask that one."},
	InternalError:     {codes.Internal, "A mistake in this program; the server's log has it under the given incident."},
}

// Code is the reason's gRPC code. Reasons that aren't here are the domain's.
func (r Reason) Code() codes.Code {
	if e, ok := about[r]; ok {
		return e.code
	}
	return ruleCode(rule.Reason(r).Kind())
}

// About is the reason's line in the catalogue, empty where there is none.
func (r Reason) About() string { return about[r].about }
