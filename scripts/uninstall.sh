#!/usr/bin/env bash
# Takes the service, the program and the udev rule away again. The bench file,
# the jobs and the logs stay: nothing measured is deleted.
set -euo pipefail
if [ $# -gt 0 ]; then
  echo "uninstall.sh: found the argument $1, expected none; nothing was done (DESTDIR names another root)" >&2
  exit 2
fi
root=${DESTDIR:-}
if [ -z "$root" ] && [ "$(id -u)" != 0 ]; then
  echo "uninstall.sh: run it as root (sudo scripts/uninstall.sh)" >&2
  exit 2
fi
if [ -z "$root" ] && [ -d /run/systemd/system ]; then
  systemctl disable --now thouwright 2> /dev/null || true
fi
rm -f "$root/usr/local/bin/thouwright" "$root/etc/systemd/system/thouwright.service" \
  "$root/etc/udev/rules.d/99-thouwright.rules" "$root/usr/local/share/doc/thouwright/README.md"
rmdir "$root/usr/local/share/doc/thouwright" 2> /dev/null || true
if [ -z "$root" ] && [ -d /run/systemd/system ]; then
  systemctl daemon-reload
fi
echo "gone; what stays: /etc/thouwright (bench file, jobs) and /var/lib/thouwright (logs)"
