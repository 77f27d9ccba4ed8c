#!/bin/sh
# Statistics of internal/metrology against SciPy (Debian's python3-scipy) on
# random inputs. Another seed: scripts/compare-scipy.sh 7
set -eu
cd "$(dirname "$0")/.."
seed=${1:-1}
python=/usr/bin/python3 # Debian's own, which sees Debian's packages
"$python" -c 'import scipy' 2>/dev/null || {
	echo "compare-scipy: SciPy is missing; install it with: apt-get install python3-scipy" >&2
	exit 1
}
out=$(mktemp)
trap 'rm -f "$out"' EXIT
go test ./internal/metrology -count=1 -run '^TestResultsForComparison$' -compare "$out" -seed "$seed"
"$python" scripts/compare-scipy.py "$out"
