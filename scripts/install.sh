#!/bin/sh
# install.sh "PACKAGES" "WHAT IS LOST": Debian packages that some tests need, installed when this user may; says
# loudly what is lost when not. Never skipped in CI.
set -u
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    if [ "$1" = postgresql ]; then  # no cluster of the machine's own: the tests start theirs in a folder
        mkdir -p /etc/postgresql-common/createcluster.d
        echo "create_main_cluster = false" > /etc/postgresql-common/createcluster.d/amptrail.conf
    fi
    apt-get -o DPkg::Lock::Timeout=300 update -qq || true
    # shellcheck disable=SC2086  # several packages are several words
    apt-get -o DPkg::Lock::Timeout=300 install -y -qq --no-install-recommends $1 && exit 0
fi
echo "*** $1 is not installed and cannot be installed by this user: $2." >&2
echo "*** On Debian or Ubuntu: sudo apt-get install $1" >&2
[ "${CI:-}" = true ] && exit 1
exit 0
