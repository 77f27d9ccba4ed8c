#!/usr/bin/env bash
# Installs Thouwright as a service: program, user, bench file, unit, udev rule.
# Safe to run again: it replaces the program and the unit and leaves the bench
# file, the jobs and the logs alone. DESTDIR installs into another root without
# touching users or services, to look at it.
set -euo pipefail
if [ $# -gt 0 ]; then
  echo "install.sh: found the argument $1, expected none; nothing was done (DESTDIR=/some/where scripts/install.sh installs below another root, to look at it)" >&2
  exit 2
fi
cd "$(dirname "$0")/.."
root=${DESTDIR:-}
if [ -z "$root" ] && [ "$(id -u)" != 0 ]; then
  echo "install.sh: run it as root (sudo scripts/install.sh): it adds a user, a service and a udev rule" >&2
  exit 2
fi

program=${PROGRAM:-}
if [ -z "$program" ]; then
  program=$(mktemp -d)/thouwright
  CGO_ENABLED=0 go build -trimpath -ldflags='-s -w' -o "$program" ./cmd/thouwright
fi

install -d "$root/usr/local/bin" "$root/etc/systemd/system" "$root/etc/udev/rules.d" \
  "$root/etc/thouwright/jobs" "$root/etc/thouwright/drivers" "$root/usr/local/share/doc/thouwright"
install -m 0755 "$program" "$root/usr/local/bin/thouwright.new"
mv "$root/usr/local/bin/thouwright.new" "$root/usr/local/bin/thouwright"
install -m 0644 scripts/thouwright.service "$root/etc/systemd/system/thouwright.service"
install -m 0644 scripts/99-thouwright.rules "$root/etc/udev/rules.d/99-thouwright.rules"
install -m 0644 README.md "$root/usr/local/share/doc/thouwright/README.md"
if [ ! -e "$root/etc/thouwright/bench.toml" ]; then
  sed -e 's|^log_dir = .*|log_dir = "/var/lib/thouwright/logs"|' \
      -e 's|^job_dir = .*|job_dir = "/etc/thouwright/jobs"|' scripts/first-bench.toml > "$root/etc/thouwright/bench.toml"
fi
if [ -n "$root" ]; then
  echo "installed below $root"
  exit 0
fi

getent group thouwright > /dev/null || groupadd --system thouwright
getent passwd thouwright > /dev/null || useradd --system --gid thouwright --home-dir /var/lib/thouwright \
  --shell /usr/sbin/nologin thouwright
chgrp -R thouwright /etc/thouwright
chmod 0775 /etc/thouwright/jobs
if [ -d /run/systemd/system ]; then
  udevadm control --reload-rules && udevadm trigger --subsystem-match=tty || true
  systemctl daemon-reload
  systemctl enable --now thouwright
  systemctl restart thouwright
  echo "installed and running: systemctl status thouwright; the bench file is /etc/thouwright/bench.toml"
else
  echo "installed; this system does not run systemd, so start it yourself: thouwright run -b /etc/thouwright/bench.toml"
fi
