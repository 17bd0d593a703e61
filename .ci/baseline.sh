#!/usr/bin/env bash
# Rewrites the baseline that .ci/run compares proto/api and proto/event with.
#
# The baseline is what is promised: every message that a release may have stored, and every call and answer that a member's
# program may rely on. It is rewritten in the change that makes a release, and only by this script, which refuses while
# something breaks the old promise. A shape that is wrong gets a successor (ListedV2), not another baseline.
# Only before the first release, when nothing is stored yet, may a baseline be deleted and written anew.
set -euo pipefail
cd "$(dirname "$0")/.."

buf() { go tool -modfile=.ci/tools.mod buf "$@"; }

for module in api event; do
  image=.ci/baseline/$module.binpb
  if [[ -e $image ]] && ! buf breaking "proto/$module" --against "$image"; then
    echo "proto/$module breaks what $image promises; the baseline stays as it is" >&2
    exit 1
  fi
done
mkdir -p .ci/baseline
for module in api event; do
  # Without source info: comments may change, and the file stays small and the same on every machine.
  buf build "proto/$module" --exclude-source-info -o ".ci/baseline/$module.binpb"
done
