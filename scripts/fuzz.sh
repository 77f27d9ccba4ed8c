#!/usr/bin/env bash
# Runs every fuzz target of the tree: those that take bytes from gauges, ports,
# tapes and driver files for the given number of seconds (30), the others for a
# quarter of it.
set -euo pipefail
cd "$(dirname "$0")/.."
seconds=${1:-30}
grep -rlE '^func Fuzz[A-Z]' --include='*_test.go' . | sort | while read -r file; do
  dir=$(dirname "$file")
  case $dir in
    ./drivers | ./internal/port | ./internal/tape | ./internal/gauge) time=$seconds ;;
    *) time=$(((seconds + 3) / 4)) ;;
  esac
  for name in $(sed -nE 's/^func (Fuzz[A-Za-z0-9_]+)\(.*/\1/p' "$file"); do
    echo "$dir $name ${time}s"
    go test -run '^$' -fuzz "^$name\$" -fuzztime "${time}s" "$dir" | tail -n 1
  done
done
