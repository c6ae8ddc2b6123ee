#!/bin/sh
# Install what the tests need beside Python packages: a browser for the map page and the library
# that sets type for the printed report, and a second renderer for the styles. Where that cannot be done, say which tests are skipped;
# the rest can run. Looks only, and installs nothing, where all is there.
set -u

missing() {
    command -v chromium >/dev/null 2>&1 || command -v chromium-browser >/dev/null 2>&1 || echo chromium
    /usr/bin/python3 -c "import mapscript" >/dev/null 2>&1 || echo python3-mapscript
    "${PYTHON:-python3}" - <<'CODE' || echo libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core
import sys
from ctypes.util import find_library
sys.exit(not (find_library("pango-1.0") and find_library("pangoft2-1.0")))
CODE
}

without() {
    echo "not on this machine: $(echo $1). $2"
    case "$1" in *chromium*) echo "  skipped for want of Chromium: tests marked browser" ;; esac
    case "$1" in *mapscript*) echo "  skipped for want of MapServer: tests marked renderer" ;; esac
    case "$1" in *pango*) echo "  skipped for want of Pango: tests marked printing" ;; esac
    exit 0
}

needed=$(missing)
[ -n "$needed" ] || exit 0

if [ "$(id -u)" = 0 ]; then as_root=""
elif sudo -n true 2>/dev/null; then as_root="sudo -n"
else without "$needed" "Only root may install them: sudo apt-get install $(echo $needed)"; fi
command -v apt-get >/dev/null 2>&1 ||
    without "$needed" "Install Chromium and Pango as this system does; they are named here for Debian."

echo "installing for the tests (once): $(echo $needed)"
log=$(mktemp)
if ! { $as_root apt-get -o DPkg::Lock::Timeout=300 update &&
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get -o DPkg::Lock::Timeout=300 \
        install -y --no-install-recommends $needed; } >"$log" 2>&1; then
    tail -n 5 "$log"
    rm -f "$log"
    without "$(missing)" "apt-get could not install them (its last lines are above)."
fi
rm -f "$log"
