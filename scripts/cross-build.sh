#!/usr/bin/env bash
# Builds the program without cgo for every platform it is meant for, stripped,
# and refuses a binary over 30 MB.
set -euo pipefail
cd "$(dirname "$0")/.."
out=$(mktemp -d)
trap 'rm -rf "$out"' EXIT
for target in linux/amd64 linux/arm64 linux/arm windows/amd64 darwin/arm64; do
  file="$out/thouwright-${target//\//-}"
  CGO_ENABLED=0 GOOS=${target%/*} GOARCH=${target#*/} go build -trimpath -ldflags='-s -w' -o "$file" ./cmd/thouwright
  size=$(stat -c %s "$file")
  printf '%-15s %5.1f MB\n' "$target" "$(awk "BEGIN{print $size/1e6}")"
  [ "$size" -lt 30000000 ] || { echo "$target: over 30 MB"; exit 1; }
done
