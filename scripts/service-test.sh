#!/usr/bin/env bash
# What can be checked of the service where systemd does not run: the unit is
# well-formed, its sandbox scores 2.5 or better, the installer can run twice and
# keeps an edited bench file, the uninstaller leaves what was measured, and
# readiness and watchdog arrive at the notify socket.
set -euo pipefail
cd "$(dirname "$0")/.."
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
go build -o "$tmp/thouwright" ./cmd/thouwright

sed "s|^ExecStart=/usr/local/bin/thouwright|ExecStart=$tmp/thouwright|" scripts/thouwright.service > "$tmp/thouwright.service"
systemd-analyze verify "$tmp/thouwright.service"
systemd-analyze security --offline=true --threshold=25 "$tmp/thouwright.service" | tail -n 1

export PROGRAM="$tmp/thouwright" DESTDIR="$tmp/root"
for script in install uninstall; do # nobody who asks for help gets the deed
  if scripts/$script.sh --help 2> /dev/null; then echo "$script.sh took an argument it does not know"; exit 1; fi
done
test ! -e "$DESTDIR"
scripts/install.sh
echo '# mine' >> "$DESTDIR/etc/thouwright/bench.toml"
scripts/install.sh
grep -q '^# mine' "$DESTDIR/etc/thouwright/bench.toml"
"$DESTDIR/usr/local/bin/thouwright" check -b "$DESTDIR/etc/thouwright/bench.toml" > "$tmp/check.txt"
scripts/uninstall.sh
test -e "$DESTDIR/etc/thouwright/bench.toml"
test ! -e "$DESTDIR/usr/local/bin/thouwright"

cat > "$tmp/bench.toml" <<'TOML'
log_dir = "logs"
[sound]
output = "none"
[page]
listen = "127.0.0.1:0"
TOML
/usr/bin/python3 - "$tmp" <<'PY'
import os, socket, subprocess, sys, time
tmp = sys.argv[1]
s = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
s.bind(tmp + "/notify")
s.settimeout(30)
p = subprocess.Popen([tmp + "/thouwright", "run", "-b", tmp + "/bench.toml"], stderr=subprocess.DEVNULL,
                     env=dict(os.environ, NOTIFY_SOCKET=tmp + "/notify", WATCHDOG_USEC="3000000"))
heard = ""
while "READY=1" not in heard or heard.count("WATCHDOG=1") < 2:
    heard += s.recv(4096).decode() + "\n"
p.terminate()
while "STOPPING=1" not in heard:
    heard += s.recv(4096).decode() + "\n"
sys.exit(p.wait())
PY
echo "service: unit, sandbox, installer and notifications are well"
