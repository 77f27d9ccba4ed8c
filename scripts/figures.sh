#!/usr/bin/env bash
# Measures every figure of speed, size and delay, each beside its floor of the
# same run, and prints them as one table. It takes about six minutes; the
# busier the computer, the less the figures say. '--no-sound' leaves out the one
# that needs a sound server.
set -euo pipefail
cd "$(dirname "$0")/.."
sound=yes
[ "${1:-}" = --no-sound ] && sound=no

# bench PACKAGE PATTERN TIME: the benchmark's lines.
bench() { go test -run '^$' -bench "$2" -benchtime "$3" "$1" | grep ^Benchmark; }
# metric UNIT [LINE]: the number before UNIT on the first line of standard input
# that matches LINE.
metric() { awk -v unit="$1" -v line="${2:-.}" '$1 ~ line { for (i = 2; i <= NF; i++) if ($i == unit) { print $(i-1); exit } }'; }
row() { printf '| %s | %s | %s | %s | `%s` |\n' "$@"; }
whole() { awk '{ printf "%.0f", $1 }'; }
one() { awk '{ printf "%.1f", $1 }'; }
# cell TABLE ROW COLUMN: of a printed table.
cell() { awk -F'|' -v row="$2" -v col="$3" '$2 ~ row { gsub(/^ +| +$/, "", $col); print $col; exit }' <<<"$1"; }

echo "$(nproc) cores, $(sed -n 's/^model name[^:]*: //p' /proc/cpuinfo | head -1), load $(cut -d' ' -f1 /proc/loadavg) at the start, $(go version | cut -d' ' -f3)"
echo
echo '| what | figure | floor, same run | aim | command |'
echo '| --- | --- | --- | --- | --- |'

b=$(bench ./drivers Decode 1s)
while read -r name rest; do
  case $name in */floor*) continue ;; esac
  row "decoding: ${name#BenchmarkDecode/}" "$(metric MB/s <<<"$name $rest" | whole) MB/s, $(metric allocs/op <<<"$name $rest") allocations" "lines split, nothing read: $(metric MB/s floor <<<"$b" | whole) MB/s" '150 MB/s, none' "go test -run '^\$' -bench Decode ./drivers"
done <<<"$b"

b=$(bench ./internal/bench Event 3000x)
row 'last byte to the event, median' "$(metric event-median-µs <<<"$b" | whole) µs" "bare read: $(metric bare-median-µs <<<"$b" | whole) µs" '2 times the floor' "go test -run '^\$' -bench Event -benchtime 3000x ./internal/bench"
row 'the same, p99' "$(metric event-p99-µs <<<"$b" | whole) µs" "bare read: $(metric bare-p99-µs <<<"$b" | whole) µs" '2 times the floor' "go test -run '^\$' -bench Event -benchtime 3000x ./internal/bench"

b=$(bench ./internal/page Digits 400x)
for clients in 1 50; do
  row "a reading written to the changed digits in a browser, $clients on the event stream" "$(metric digits-p50-ms "clients=$clients(-|\$)" <<<"$b" | one) ms median, $(metric digits-p95-ms "clients=$clients(-|\$)" <<<"$b" | one) ms p95" "a bare server-sent event: $(metric bare-p50-ms "clients=$clients(-|\$)" <<<"$b" | one) and $(metric bare-p95-ms "clients=$clients(-|\$)" <<<"$b" | one) ms" '50 ms at p95' "go test -run '^\$' -bench Digits -benchtime 400x ./internal/page"
done

b=$(bench ./internal/bench Replay 5x)
cmd="go test -run '^\$' -bench Replay ./internal/bench"
for kind in at-work take-upon-take; do
  row "replay, a take every $(metric readings/take "$kind/whole" <<<"$b" | whole) readings" "$(metric readings/s "$kind/whole" <<<"$b" | whole) readings/s; $(metric readings/cpu-s "$kind/whole" <<<"$b" | whole) per second of processor time" "the tape alone: $(metric readings/s "$kind/floor" <<<"$b" | whole)" '1,000,000' "$cmd"
done

b=$(bench ./internal/journal Readings 1s; bench ./internal/ledger ReadingRow 1s)
row 'journal, a reading' "$(metric ns/reading Readings <<<"$b" | whole) ns" "its row alone: $(metric ns/op ReadingRow <<<"$b" | whole) ns" '' "go test -run '^\$' -bench Readings ./internal/journal"
b=$(bench ./internal/journal 'Receipt|BareSync' 1s)
row 'a take to its receipt' "$(metric ns/op Receipt <<<"$b" | awk '{ printf "%.2f", $1/1e6 }') ms" "the same writes and three syncs, bare: $(metric ns/op BareSync <<<"$b" | awk '{ printf "%.2f", $1/1e6 }') ms" '' "go test -run '^\$' -bench 'Receipt|BareSync' ./internal/journal"

if [ "$sound" = yes ]; then
  b=$(bench ./internal/bench Onset 100x)
  row 'last byte to the onset of the verdict in the recorded sound' "$(metric onset-p50-ms <<<"$b" | one) ms median, $(metric onset-p95-ms <<<"$b" | one) ms p95" "a small write and sync: $(metric sync-p50-ms <<<"$b" | one) and $(metric sync-p95-ms <<<"$b" | one) ms" '60 ms at p95, and the sync' "go test -run '^\$' -bench Onset -benchtime 100x ./internal/bench"
fi

b=$(bench ./internal/record PDF 3x)
row 'PDF of 60 checks and 1,000,000 readings' "$(metric ns/op <<<"$b" | awk '{ printf "%.1f", $1/1e9 }') s, $(metric MB-peak <<<"$b" | whole) MB peak" "the bytes of the logs read: $(metric ms-bare-read/op <<<"$b" | whole) ms" '5 s, 200 MB' "go test -run '^\$' -bench PDF ./internal/record"

s=$(go run ./scripts/soak -starts 15)
row 'start to first reading, median' "$(cell "$s" 'run' 3) ms (slowest of 15: $(cell "$s" run 4) ms)" "a start that does nothing: $(cell "$s" floor 3) ms" '200 ms' 'go run ./scripts/soak -starts 15'
s=$(go run ./scripts/soak -only -seconds 20 -gauges 1 -rate 10)
row 'one gauge at 10 readings/s' "$(cell "$s" thouwright 5) of a core, $(cell "$s" thouwright 7) MB" '' '0.5 %, 30 MB' 'go run ./scripts/soak -only -seconds 20 -gauges 1 -rate 10'
s=$(go run ./scripts/soak -seconds 30)
for what in thouwright floor socat Python; do
  row "256 gauges at 50 readings/s: $(cell "$s" "$what" 2)" "$(cell "$s" "$what" 5) of a core, $(cell "$s" "$what" 7) MB, kept $(cell "$s" "$what" 4) of $(cell "$s" "$what" 3)" "$(cell "$s" "$what" 6) times the floor" "$([ "$what" = thouwright ] && echo 'half a core, 80 MB, none lost')" 'go run ./scripts/soak -seconds 30'
done
