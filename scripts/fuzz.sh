#!/usr/bin/env bash
# Runs every fuzz target of the tree: those that take bytes from gauges, ports,
# tapes and driver files for the given number of seconds (30), the others for a
# quarter of it. An input that is only new is made small for 2 s, not for the
# tool's minute. A target that holds says one line; one that fails says all it
# said, with the input that broke it, since the file that holds the input may be
# gone with the machine. The others run all the same. Go's fuzzing on a busy
# machine may take the end of its own time for a failure; that one, which has no
# input to show, is said and run once more.
set -euo pipefail
cd "$(dirname "$0")/.."
seconds=${1:-30}
out=$(mktemp)
trap 'rm -f "$out"' EXIT
failed=0
ended() { grep -q 'context deadline exceeded' "$out" && ! grep -q 'Failing input written' "$out"; }
files=$(grep -rlE '^func Fuzz[A-Z]' --include='*_test.go' . | sort) # none is a failure
for file in $files; do
  dir=$(dirname "$file")
  case $dir in
    ./drivers | ./internal/port | ./internal/tape | ./internal/gauge) time=$seconds ;;
    *) time=$(((seconds + 3) / 4)) ;;
  esac
  for name in $(sed -nE 's/^func (Fuzz[A-Za-z0-9_]+)\(.*/\1/p' "$file"); do
    echo "$dir $name ${time}s"
    fuzz() { go test -run '^$' -fuzz "^$name\$" -fuzztime "${time}s" -fuzzminimizetime 2s "$dir" </dev/null >"$out" 2>&1; }
    if fuzz || { ended && echo "$dir $name once more: only the end of its time was reported" && fuzz; }; then
      tail -n 1 "$out"
      continue
    fi
    failed=1
    cat "$out"
    # Both a new input ("written to testdata/fuzz/NAME/HASH") and a kept one
    # ("NAME/FILE") are named by their target.
    grep -oE "\b$name/[A-Za-z0-9_.-]+" "$out" | sort -u | while read -r input; do
      [ ! -f "$dir/testdata/fuzz/$input" ] || tail -n +1 -v "$dir/testdata/fuzz/$input"
    done || true
  done
done
exit $failed
