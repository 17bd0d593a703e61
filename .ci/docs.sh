#!/usr/bin/env bash
# Runs the commands that README.md and DEVELOPERS.md tell people to run: every block fenced as ```sh, in order, in a clone
# of the last commit, with an empty HOME. The blocks of one page share one shell, as in a reader's terminal, and the first
# command that fails ends it. Blocks fenced as ```console show a session with its output and are not run; other names for
# shell blocks are refused, because nobody would notice that they aren't run.
#
#   .ci/docs.sh          Go's caches are the caller's
#   .ci/docs.sh --cold   Go's caches are empty too, as for a newcomer (minutes more, and a download)
set -euo pipefail
cd "$(dirname "$0")/.."

scratch=$(mktemp -d)
session=''
finish() {
  local status=$?
  # The commands' whole process group: a server that a page started in the background ends with it.
  [[ -z $session ]] || kill -- "-$session" 2>/dev/null || true
  # Go makes the folders of a module cache read-only.
  chmod -R u+w "$scratch" && rm -rf "$scratch"
  exit "$status"
}
trap finish EXIT
trap 'exit 130' INT TERM

# The reader's Go settings stay (a proxy, say); they may be in a file below HOME.
GOENV=$(go env GOENV)
export GOENV
case ${1-} in
"")
  GOCACHE=$(go env GOCACHE) GOMODCACHE=$(go env GOMODCACHE)
  export GOCACHE GOMODCACHE
  ;;
--cold)
  export GOCACHE=$scratch/cache GOMODCACHE=$scratch/modules
  ;;
*)
  echo "usage: .ci/docs.sh [--cold]" >&2
  exit 64
  ;;
esac

git clone --quiet . "$scratch/clone"
mkdir "$scratch/home"

for page in README.md DEVELOPERS.md; do
  awk -v page="$page" '
    function fail(what) { print page ":" NR ": " what > "/dev/stderr"; failed = 1; exit 1 }
    /^ *```/ {
      if (inside) {
        if ($0 !~ /^ *``` *$/) fail("a block begins inside the block of line " began)
        inside = run = 0
        next
      }
      if ($0 ~ /^ *``` *(bash|shell|zsh|sh)/ && $0 != "```sh") fail("fence commands as ```sh (run) or ```console (shown), without indent")
      inside = 1; began = NR; run = $0 == "```sh"
      if (run) { blocks++; print "printf \"\\n---- " page ":" NR "\\n\"" }
      next
    }
    run { print }
    END {
      if (failed) exit 1
      if (inside) fail("the block of line " began " does not end")
      if (!blocks) fail("there is no ```sh block")
    }' "$scratch/clone/$page" >"$scratch/$page.bash"
  # In job-control mode each background job is a process group of its own.
  set -m
  (cd "$scratch/clone" && HOME=$scratch/home exec bash -euo pipefail "$scratch/$page.bash" </dev/null) &
  session=$!
  set +m
  wait "$session" || { echo "$page: the commands after the last heading above failed (exit $?)" >&2; exit 1; }
  kill -- "-$session" 2>/dev/null || true
  session=''
done
