package draw

import (
	"io"

	"seamshare.example/services/domain/saw"
)

func Sheet(w io.Writer, study saw.Study, plan saw.Plan, result saw.Result, o Options) error { return nil }
