#!/bin/sh
# Installs the circuit simulator that the tests compare with, when this user may; says so loudly when not.
set -u
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    apt-get -o DPkg::Lock::Timeout=300 update -qq || true
    apt-get -o DPkg::Lock::Timeout=300 install -y -qq --no-install-recommends ngspice && exit 0
fi
echo "*** ngspice is not installed and cannot be installed by this user: the comparisons with it will be SKIPPED." >&2
echo "*** On Debian or Ubuntu: sudo apt-get install ngspice" >&2
[ "${CI:-}" = true ] && exit 1
exit 0
