#!/usr/bin/env bash
# Installs the Debian packages that the tests use: a browser, a sound server, a
# network serial server, a PDF reader, a second spreadsheet program, an
# independent statistics package. Does nothing where they are there.
set -euo pipefail
packages=(chromium pulseaudio pulseaudio-utils ser2net socat espeak-ng poppler-utils
  python3-numpy python3-scipy libreoffice-calc fonts-dejavu-core)
missing=()
for p in "${packages[@]}"; do
  dpkg-query -W -f='${Status}' "$p" 2>/dev/null | grep -q 'ok installed' || missing+=("$p")
done
if [ ${#missing[@]} -gt 0 ]; then
  as_root=()
  [ "$(id -u)" = 0 ] || as_root=(sudo)
  "${as_root[@]}" apt-get update -qq
  DEBIAN_FRONTEND=noninteractive "${as_root[@]}" apt-get install -y -qq --no-install-recommends "${missing[@]}"
fi
