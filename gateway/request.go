package gateway

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// maxBody is gRPC's limit too.
const maxBody = 1 << 20

// bounded reads a body before anything else looks at it, so that one that is too
// large, or isn't one JSON value, is refused as what it is.
func bounded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.ContentLength > maxBody {
			tooLarge(w)
			return
		}
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
		var large *http.MaxBytesError
		switch {
		case errors.As(err, &large):
			tooLarge(w)
			return
		case err != nil:
			write(w, http.StatusBadRequest, malformed("the body could not be read to its end"))
			return
		case len(bytes.TrimSpace(body)) > 0:
			if problem := jsonProblem(body); problem != "" {
				write(w, http.StatusBadRequest, malformed(problem))
				return
			}
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
		r.ContentLength = int64(len(body))
		next.ServeHTTP(w, r)
	})
}

func tooLarge(w http.ResponseWriter) {
	w.Header().Set("Connection", "close") // the rest of the body is not read
	write(w, http.StatusRequestEntityTooLarge,
		failure(codes.ResourceExhausted, "REQUEST_TOO_LARGE", fmt.Sprintf("the body has more than %d bytes; send less at once", maxBody)))
}

// jsonProblem says what keeps a body from being exactly one JSON object. The
// runtime's decoder would stop at the first value's end and drop what follows.
func jsonProblem(body []byte) string {
	var object map[string]json.RawMessage
	err := json.Unmarshal(body, &object)
	var syntax *json.SyntaxError
	switch {
	case errors.As(err, &syntax):
		return fmt.Sprintf("the body is not JSON: %v, at byte %d", syntax, syntax.Offset)
	case err != nil || object == nil:
		return "the body must be one JSON object"
	}
	return ""
}

// strictQuery refuses parameters that the method doesn't have; the runtime alone
// would drop them, and a mistyped filter would show everything.
type strictQuery struct {
	runtime.DefaultQueryParser
}

func (q strictQuery) Parse(m proto.Message, values url.Values, filter *utilities.DoubleArray) error {
	for name := range values {
		if !hasField(m.ProtoReflect().Descriptor(), strings.Split(name, ".")) {
			return fmt.Errorf("there is no parameter %q here", name)
		}
	}
	return q.DefaultQueryParser.Parse(m, values, filter)
}

func hasField(d protoreflect.MessageDescriptor, path []string) bool {
	f := d.Fields().ByName(protoreflect.Name(path[0]))
	if f == nil {
		f = d.Fields().ByJSONName(path[0])
	}
	switch {
	case f == nil:
		return false
	case len(path) == 1:
		return true
	}
	return f.Message() != nil && hasField(f.Message(), path[1:])
}
