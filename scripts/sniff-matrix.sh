#!/bin/sh
# Every built-in stream shape at every line setting (1200 to 115200 baud, 7 and
# 8 data bits, no, even and odd parity, 1 and 2 stop bits), with both kinds of
# receivers, in simulated time: 'sniff' must find 95 in 100 and say nothing wrong.
# Takes about half a minute. MISSES=1 lists those it was not sure of.
cd "$(dirname "$0")/.." && exec go test ./internal/sniff -run TestMatrix -full -count=1 -v "$@"
