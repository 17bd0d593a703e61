#!/usr/bin/env bash
# Runs every fuzzer of the project for a number of inputs, so that each run ends and takes about as long as the one before.
#
#   .ci/fuzz.sh [INPUTS]      20000 without it
set -euo pipefail
cd "$(dirname "$0")/.."
inputs=${1:-20000}
[[ $inputs =~ ^[1-9][0-9]*$ ]] || { echo "usage: .ci/fuzz.sh [INPUTS]" >&2; exit 64; }

found=0
while IFS=: read -r file text; do
  name=${text#func }
  name=${name%%(*}
  echo "$(dirname "$file") $name"
  go test "./$(dirname "$file")" -run '^$' -fuzz "^$name\$" -fuzztime "${inputs}x"
  found=$((found + 1))
done < <(git grep -E '^func Fuzz[A-Z]\w*\(f \*testing\.F\)' -- '*_test.go')
((found > 0)) || { echo "there are no fuzzers" >&2; exit 1; }
echo "$found fuzzers, $inputs inputs each"
