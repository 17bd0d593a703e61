package main

// exitCode is what the program ends with. Scripts rely on these; `seamshare help exit-codes` prints exitCodesHelp.
type exitCode int

const (
	exitOK          exitCode = 0
	exitRefused     exitCode = 1
	exitUsage       exitCode = 2
	exitNoRight     exitCode = 3
	exitUnreachable exitCode = 4
	exitUnknown     exitCode = 5
	exitUnverified  exitCode = 6
	exitStorage     exitCode = 74
)

const exitCodesHelp = `What seamshare's exit codes mean:

   0  done
   1  refused by a rule of the trade; nothing was changed
   2  wrong usage or wrong input: a flag, a file, a value; nothing was changed
   3  not signed in, or no right to do this; nothing was changed
   4  the server can't be reached or doesn't work now; nothing was changed
   5  outcome unknown: the command may or may not have been done.
      Repeat it with the same --request-id: it is then done once, never twice
   6  verification failed: what was checked is not what was recorded
  74  storage failed: a disk or file could not be read, written or synced

With --json an error is one JSON document on stderr:
  {"error": {"reason": …, "field": …, "message": …, "hint": …}}
and "problems" lists the fields one by one where there are several.
`
