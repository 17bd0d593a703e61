package eventstore

// View is a projection: rows derived from the log and nothing else. Its queries
// stand beside its Apply and read the rows through a Reader.
//
// A view is applied to each record exactly once, in order, in the transaction
// that makes the record durable here.
type View interface {
	Name() string
	// Version goes up with every change of the rows. A node that finds the view
	// at an older version builds the new one beside it while the old answers.
	Version() uint32
	// Apply changes the view's rows for one record. It may read and write a
	// bounded number of rows. An error or a panic refuses the decision before it
	// is published; from the log it stops the node, since a record can't be
	// skipped.
	Apply(rows Rows, record Record) error
}

// Rows is the narrow transaction that a view writes through; keys are the
// view's own, without any prefix. Values are kept: don't change them after. Rows
// can't be changed inside the function of a Scan. A key has at most 1 KiB, a
// value at most 256 KiB: a longer one is an error of Apply.
type Rows interface {
	Reader
	Set(key, value []byte)
	Delete(key []byte)
}
