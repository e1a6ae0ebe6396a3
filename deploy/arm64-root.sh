#!/bin/sh
# arm64-root.sh FOLDER PACKAGE... - Debian's arm64 packages, with what they depend on, unpacked into FOLDER.
#
# For cross-building and running under qemu-user: nothing is installed, and the machine's own apt and dpkg know
# nothing of it. FOLDER is made anew only where the wanted packages changed.
set -eu

[ $# -ge 2 ] || {
  printf 'usage: arm64-root.sh FOLDER PACKAGE...\n' >&2
  exit 2
}
root=$1
shift
if [ -f "$root/packages" ] && [ "$(cat "$root/packages")" = "$*" ]; then
  exit 0
fi

mkdir -p "$root"
root=$(cd "$root" && pwd)
work=$root.apt
rm -rf "$root" "$work"
mkdir -p "$root" "$work/lists/partial" "$work/cache/archives/partial"
: >"$work/status"
apt() {
  apt-get -qq -o Dir::State::lists="$work/lists" -o Dir::Cache="$work/cache" -o Dir::State::status="$work/status" \
    -o APT::Architecture=arm64 -o APT::Architectures=arm64 -o APT::Install-Recommends=false \
    -o Debug::NoLocking=1 -o APT::Sandbox::User=root "$@"
}
apt update
apt --yes --download-only install "$@" >/dev/null
for archive in "$work"/cache/archives/*.deb; do
  dpkg -x "$archive" "$root"
done
rm -rf "$work"
printf '%s\n' "$*" >"$root/packages"
