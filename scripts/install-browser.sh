#!/bin/sh
# Installs the browser that the page tests drive, when this user may; says so loudly when not.
set -u
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    apt-get -o DPkg::Lock::Timeout=300 update -qq || true
    apt-get -o DPkg::Lock::Timeout=300 install -y -qq --no-install-recommends chromium fonts-dejavu-core && exit 0
fi
echo "*** chromium is not installed and cannot be installed by this user: the pages are NOT tried in a browser." >&2
echo "*** On Debian or Ubuntu: sudo apt-get install chromium fonts-dejavu-core" >&2
[ "${CI:-}" = true ] && exit 1
exit 0
