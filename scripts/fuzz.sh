#!/usr/bin/env bash
# Runs every fuzz target of the tree for the given number of seconds (30). Inputs
# are not minimised: where goroutines take part, coverage wavers and the engine
# would do nothing else.
set -euo pipefail
cd "$(dirname "$0")/.."
seconds=${1:-30}
grep -rlE '^func Fuzz[A-Z]' --include='*_test.go' . | sort | while read -r file; do
  for name in $(sed -nE 's/^func (Fuzz[A-Za-z0-9_]+)\(.*/\1/p' "$file"); do
    echo "$(dirname "$file") $name"
    go test -run '^$' -fuzz "^$name\$" -fuzztime "${seconds}s" -fuzzminimizetime 1x "./$(dirname "$file")" | tail -n 2
  done
done
