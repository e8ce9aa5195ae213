#!/bin/sh
# Installs the database server that the tests of the store run against, when this user may; says so loudly
# when not. The tests start a server of their own in a folder of their own.
set -u
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    # no cluster of the machine's own: it would only take port and memory
    mkdir -p /etc/postgresql-common/createcluster.d
    echo "create_main_cluster = false" > /etc/postgresql-common/createcluster.d/amptrail.conf
    apt-get -o DPkg::Lock::Timeout=300 update -qq || true
    apt-get -o DPkg::Lock::Timeout=300 install -y -qq --no-install-recommends postgresql && exit 0
fi
echo "*** postgresql is not installed and cannot be installed by this user: the store is NOT tried on it." >&2
echo "*** On Debian or Ubuntu: sudo apt-get install postgresql" >&2
[ "${CI:-}" = true ] && exit 1
exit 0
