#!/usr/bin/env bash
# Installs the Debian packages that the tests use: a browser, a sound server, a
# network serial server, a PDF reader, a second spreadsheet program, an
# independent statistics package; and from npm, into .tools, the accessibility
# checks for the page. Does nothing where they are there.
set -euo pipefail
packages=(chromium pulseaudio pulseaudio-utils ser2net socat espeak-ng poppler-utils
  python3-numpy python3-scipy libreoffice-calc fonts-dejavu-core systemd openssl unzip)
command -v npm >/dev/null || packages+=(npm)
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

axe=4.14.1
cd "$(dirname "$0")/.."
if ! grep -qs "\"version\": \"$axe\"" .tools/node_modules/axe-core/package.json; then
  mkdir -p .tools
  npm install --prefix .tools --no-audit --no-fund --ignore-scripts --silent "axe-core@$axe"
fi
