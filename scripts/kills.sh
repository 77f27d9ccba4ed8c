#!/bin/sh
# kills.sh [N]: kill the daemon N times (5000) at random moments under load, and
# the journal alone as often; then many lives of one job on a disk that fails.
# Every promise made before each end must hold after it. Takes about half an
# hour for 5000.
set -e
cd "$(dirname "$0")/.."
n=${1:-5000}
nice go test -v -timeout 3h -run 'KilledAt|ManyLives' ./internal/journal -deep
nice go test -v -timeout 3h -run 'TestKilledDaemon$' ./cmd/thouwright -kills "$n"
