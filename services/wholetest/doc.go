// Package wholetest tests the services as one whole: every rpc as every role on own,
// others' and missing things; every field of every answer by its class; canaries in what
// is private, searched for wherever they mustn't be; and walks at random through the
// whole trade, with what must always hold checked on the way. It has only tests.
package wholetest
