package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"

	"seamshare.example/cmd/seamshare/internal/strictjson"
)

// failure is an error as the person who typed the command needs it: what was wrong with which field, which rule says so,
// and what to do. Every command returns one, or an error that asFailure can turn into one.
type failure struct {
	Exit    exitCode
	Reason  string // a stable word in capitals, such as WRONG_USAGE
	Field   string // the flag, column or path; empty where the command as a whole is meant
	Message string // the value and the rule
	Hint    string // what to do
	// Problems are the fields one by one where there are several; Message then says how many.
	Problems []fieldProblem
	Err      error // what caused it, for errors.As; not printed
}

// fieldProblem is one field that breaks a rule.
type fieldProblem struct {
	Field   string `json:"field"`
	Message string `json:"message"`
}

func (f *failure) Error() string {
	if f.Field == "" {
		return f.Message
	}
	return f.Field + ": " + f.Message
}

func (f *failure) Unwrap() error { return f.Err }

// wrongUsage says that the command was typed wrong.
func wrongUsage(field, hint, format string, args ...any) *failure {
	return &failure{Exit: exitUsage, Reason: "WRONG_USAGE", Field: field, Message: fmt.Sprintf(format, args...), Hint: hint}
}

// wrongInput says that a value or file is not what it must be.
func wrongInput(field, hint, format string, args ...any) *failure {
	return &failure{Exit: exitUsage, Reason: "WRONG_INPUT", Field: field, Message: fmt.Sprintf(format, args...), Hint: hint}
}

// fileFailure says all that is wrong with a file that a member wrote.
func fileFailure(path, what, hint string, list []fieldProblem) *failure {
	if len(list) == 1 {
		return wrongInput(strings.TrimSuffix(path+": "+list[0].Field, ": "), hint, "%s", list[0].Message)
	}
	f := wrongInput(path, hint, "%d things are wrong with the %s", len(list), what)
	f.Problems = list
	return f
}

func fieldProblems(problems strictjson.Problems) []fieldProblem {
	list := make([]fieldProblem, len(problems))
	for i, p := range problems {
		list[i] = fieldProblem{p.Path, p.Rule}
	}
	return list
}

// asFailure finds the failure in an error, or makes one of it.
func asFailure(err error) *failure {
	if f, ok := errors.AsType[*failure](err); ok {
		return f
	}
	if f := fromStatus(err); f != nil {
		return f
	}
	if path, ok := errors.AsType[*fs.PathError](err); ok {
		f := &failure{Exit: exitUsage, Reason: "FILE", Field: path.Path, Message: err.Error(), Err: err}
		switch {
		case errors.Is(err, fs.ErrNotExist):
			f.Message, f.Hint = "there is no such file", "check the name"
		case errors.Is(err, fs.ErrPermission):
			f.Message, f.Hint = "this file may not be opened by you", "check its owner and mode"
		case errors.Is(err, fs.ErrExist):
			f.Message, f.Hint = "this file exists already", "choose another name; nothing is written over"
		default:
			f.Exit, f.Reason, f.Hint = exitStorage, "STORAGE", "check the disk"
		}
		return f
	}
	if errors.Is(err, context.Canceled) {
		return &failure{Exit: exitUnreachable, Reason: "INTERRUPTED", Message: "stopped before it was done", Err: err}
	}
	return &failure{Exit: exitStorage, Reason: "FAILED", Message: err.Error(), Err: err}
}

// print writes the failure for a person.
func (f *failure) print(w io.Writer) {
	fmt.Fprintf(w, "seamshare: %s\n", f.Error())
	for _, p := range f.Problems {
		if p.Field == "" {
			fmt.Fprintf(w, "  - %s\n", p.Message)
			continue
		}
		fmt.Fprintf(w, "  - %s: %s\n", p.Field, p.Message)
	}
	if f.Hint != "" {
		fmt.Fprintf(w, "What to do: %s.\n", strings.TrimSuffix(f.Hint, "."))
	}
}

// printJSON writes the failure as one JSON document.
func (f *failure) printJSON(w io.Writer) error {
	type body struct {
		Reason   string         `json:"reason"`
		Field    string         `json:"field"`
		Message  string         `json:"message"`
		Hint     string         `json:"hint"`
		Problems []fieldProblem `json:"problems,omitempty"`
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(struct {
		Error body `json:"error"`
	}{body{f.Reason, f.Field, f.Message, f.Hint, f.Problems}})
}
