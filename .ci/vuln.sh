#!/usr/bin/env bash
# Looks for known vulnerabilities that our code reaches. The database is the one in the module golang.org/x/vulndb at the version
# in .ci/vuln.mod, so that a commit's result doesn't change by itself; raise it with each release.
#
#   .ci/vuln.sh DIR      DIR, new, takes the database and the findings
#
# A finding in a module fails: raise the module. One in Go's standard library is only told, because go.mod can ask for a
# toolchain that has the fix (it does) but not make GOTOOLCHAIN=local take it.
set -euo pipefail
cd "$(dirname "$0")/.."
[[ $# == 1 ]] || { echo "usage: .ci/vuln.sh DIR" >&2; exit 64; }
dir=$(realpath -m "$1")
mkdir "$dir"

tool() { go tool -modfile=.ci/vuln.mod "$@"; }
go mod download -modfile=.ci/vuln.mod golang.org/x/vulndb
osv=$(go list -modfile=.ci/vuln.mod -m -f '{{.Dir}}' golang.org/x/vulndb)/data/osv
tool indexdb -vulns "$osv" -out "$dir/db"
tool govulncheck -db "file://$dir/db" -format json ./... >"$dir/findings.json"
# A document that says what was scanned with which database tells an empty result from no result.
jq -e -n '[inputs.config | select(. != null)] | length > 0' "$dir/findings.json" >/dev/null

# Reached: the trace begins at a function of the vulnerable package that ours call.
reached='[inputs.finding | select(. != null) | select(.trace[0].function)]'
list="$reached | map(\"\(.osv)  \(.trace[0].module) \(.trace[0].version), fixed in \(.fixed_version // \"none yet\")\") | unique[]"
jq -r -n "$list" "$dir/findings.json" >"$dir/reached"
if grep '  stdlib ' "$dir/reached"; then
  echo "these are in Go's standard library: use a newer Go 1.26 or 1.27, or GOTOOLCHAIN=auto"
fi
if grep -v '  stdlib ' "$dir/reached" >&2; then
  echo "these are in modules we use: raise them" >&2
  exit 1
fi
