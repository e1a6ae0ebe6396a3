#!/bin/sh
# install-packages.sh GROUP... - installs the packages of packages.txt that are missing.
#   --missing   prints their names instead, one a line, and installs nothing
#
# apt is used only where something is missing, sudo only where we are not root, and the lists of packages are
# fetched only where they do not know a package or apt cannot install from them as they are. Where another apt is
# at work, ours or the system's own, it is waited for. Exit status: 0 all there, 2 wrong usage, 1 they could not
# be installed.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
list=$here/packages.txt
only_print=false

say() { printf 'packages: %s\n' "$*" >&2; }
fail() {
  say "$*"
  exit 1
}
usage() {
  printf 'usage: install-packages.sh [--missing] build|run|test|arm64|bench...\n' >&2
  exit 2
}

if [ "${1:-}" = --missing ]; then
  only_print=true
  shift
fi
[ $# -gt 0 ] || usage
for group in "$@"; do
  case $group in build | run | test | arm64 | bench) ;; *) usage ;; esac
done
command -v dpkg-query >/dev/null 2>&1 || fail "this is not Debian; install what $list names by hand"

# node 18 or later with npm may come from elsewhere, /usr/local for instance
node_is_there() {
  command -v npm >/dev/null 2>&1 && command -v node >/dev/null 2>&1 || return 1
  major=$(node --version 2>/dev/null | sed -n 's/^v\([0-9]*\).*/\1/p')
  [ "${major:-0}" -ge 18 ]
}

is_there() { # package least-version
  case $1 in nodejs | npm) if node_is_there; then return 0; fi ;; esac
  state=$(dpkg-query --show --showformat='${db:Status-Status} ${Version}' "$1" 2>/dev/null) || return 1
  [ "${state%% *}" = installed ] || return 1
  [ "$2" = - ] || dpkg --compare-versions "${state#* }" ge "$2"
}

missing=
for group in "$@"; do
  while read -r its_group package least _; do
    [ "$its_group" = "$group" ] || continue
    is_there "$package" "$least" || missing="$missing $package"
  done <"$list"
done
if $only_print; then
  for package in $missing; do printf '%s\n' "$package"; done
  exit 0
fi
[ -n "$missing" ] || exit 0

as_root=
if [ "$(id -u)" != 0 ]; then
  command -v sudo >/dev/null 2>&1 || fail "not root and no sudo; as root: apt-get install$missing"
  as_root='sudo --'
fi
log=$(mktemp)
trap 'rm -f "$log"' EXIT

apt() { # quietly; $as_root is split on purpose
  $as_root env DEBIAN_FRONTEND=noninteractive apt-get --quiet --quiet --option Dpkg::Use-Pty=0 \
    --option DPkg::Lock::Timeout=900 "$@" >"$log" 2>&1
}
install() {
  # $missing is a list of names
  # shellcheck disable=SC2086
  apt install --yes --no-install-recommends $missing
}
explain() {
  grep '^E: ' "$log" | grep -v 'Unable to fetch some' | head -n 3 >&2 || true
  if grep -qE 'Could not resolve|Temporary failure|Unable to connect|Could not connect|Network is unreachable|Failed to fetch' "$log"; then
    fail "no way to the package archive; connect to the network, or install by hand:$missing"
  fi
  tail -n 3 "$log" >&2
  fail "apt could not install:$missing"
}

say "installing$missing"
# Old lists name files that the archive no longer has, so a failed install is tried once more with new ones.
install || {
  apt update || explain
  install || explain
}
