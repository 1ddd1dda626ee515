# shellcheck shell=bash
# Set-up shared by scripts/analyze, scripts/test and scripts/bench. Sourced by
# bash; sets root, the folder of the repository.
#
# It installs what is missing and nothing else: once everything is there it
# asks neither apt nor npm and works without a network. Whatever fails, it
# ends with one sentence and a hint, exit code 1.

set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
started=$SECONDS

say() { printf 'set-up: %s\n' "$*" >&2; }

# fail SENTENCE [HINT]
fail() {
	printf 'set-up failed: %s\n' "$1" >&2
	if [ $# -gt 1 ]; then printf 'hint: %s\n' "$2" >&2; fi
	exit 1
}

# why LOG: turns what a failed command wrote into a cause and a hint, or
# prints the end of it.
why() {
	if grep -qiE 'no space left|disk quota exceeded|not enough free space' "$1"; then
		fail "the disk is full" "free about 3 GB and run again; what is done already is kept"
	elif grep -qiE 'could not resolve|temporary failure|no such host|could not connect|network is unreachable|connection refused|connection timed out|i/o timeout|dial tcp|no route to host' "$1"; then
		fail "no network: $2 cannot be fetched" "connect once for the set-up; afterwards it works offline"
	elif grep -qiE 'failed to verify certificate|self.signed certificate|unable to get local issuer' "$1"; then
		fail "the connection for $2 is not trusted: its certificate is unknown here" "let this system trust the certificate of your network, then run again"
	elif grep -qiE 'permission denied|are you root|read-only file system' "$1"; then
		fail "no permission while $3" "run as root or with sudo, in a folder that you may write to"
	elif grep -qiE 'could not get lock|unable to acquire the dpkg' "$1"; then
		fail "another package manager is running" "wait until it is done and run again"
	fi
	tail -n 15 "$1" >&2
	fail "$3 did not work; the last lines are above"
}

check_machine() {
	case "$(uname -s)/$(uname -m)" in
	Linux/x86_64 | Linux/aarch64) ;;
	*) fail "this is $(uname -s) on $(uname -m), plantframe runs on Linux, x86-64 or arm64" ;;
	esac
	local name=unknown id=
	if [ -r /etc/os-release ]; then
		name=$(. /etc/os-release && printf '%s' "${PRETTY_NAME:-unknown}")
		id=$(. /etc/os-release && printf '%s' "${ID:-}-${VERSION_ID:-}")
	fi
	if [ "$id" != debian-12 ]; then say "made for Debian 12; this is $name, other versions of OpenCV may not build"; fi

	command -v go >/dev/null || fail "there is no Go toolchain" "install Go 1.26 or later and put its bin folder into PATH"
	local version minor
	version=$(go env -C "$root" GOVERSION 2>/dev/null) || version=$(go env GOVERSION 2>/dev/null) || version=unknown
	minor=${version#go1.}
	minor=${minor%%[!0-9]*}
	case "$version" in
	go1.*) [ "${minor:-0}" -ge 26 ] || fail "Go 1.26 or later is needed, this is $version" "install a newer toolchain" ;;
	esac
}

# install_packages: the programs and libraries that the build and the run
# need. Each is looked for by use, not by name: it may come from elsewhere.
install_packages() {
	local want=()
	command -v ffmpeg >/dev/null && command -v ffprobe >/dev/null || want+=(ffmpeg)
	command -v cc >/dev/null && command -v c++ >/dev/null && command -v make >/dev/null || want+=(build-essential)
	command -v pkg-config >/dev/null || want+=(pkg-config)
	command -v pkg-config >/dev/null && pkg-config --exists opencv4 || want+=(libopencv-dev)
	command -v npm >/dev/null || want+=(npm)
	[ -n "${SSL_CERT_FILE:-}${SSL_CERT_DIR:-}" ] || [ -e /etc/ssl/certs/ca-certificates.crt ] || want+=(ca-certificates)
	[ ${#want[@]} -gt 0 ] || return 0

	command -v apt-get >/dev/null || fail "missing: ${want[*]}, and this system has no apt-get" "install the same things with its own package manager"
	local as=()
	if [ "$(id -u)" != 0 ]; then
		command -v sudo >/dev/null || fail "missing: ${want[*]}, and only root may install them" "run as root: apt-get install ${want[*]}"
		sudo -n true 2>/dev/null || [ -t 0 ] || fail "missing: ${want[*]}, and sudo asks for a password" "run: sudo apt-get install ${want[*]}"
		as=(sudo)
	fi
	say "installing with apt-get: ${want[*]} (some minutes)"
	local log
	log=$(mktemp)
	"${as[@]}" env DEBIAN_FRONTEND=noninteractive apt-get update -q -o APT::Update::Error-Mode=any >"$log" 2>&1 ||
		why "$log" "the list of packages" "reading the list of packages"
	"${as[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "${want[@]}" >"$log" 2>&1 ||
		why "$log" "${want[*]}" "installing ${want[*]}"
	grep -E '^(Need to get|After this operation)' "$log" | sed 's/^/set-up: /' >&2 || true
	rm -f "$log"
}

build() {
	[ -x "$root/bin/plantframe" ] || say "building (the first time takes some minutes)"
	local log
	log=$(mktemp)
	if ! go build -C "$root" -o bin/plantframe ./cmd/plantframe >"$log" 2>&1; then
		# A folder of another user: git does not tell the commit, which is no
		# reason to fail.
		grep -q 'VCS status' "$log" || why "$log" "a Go module" "building"
		go build -C "$root" -buildvcs=false -o bin/plantframe ./cmd/plantframe >"$log" 2>&1 || why "$log" "a Go module" "building"
	fi
	rm -f "$log"
}

# set_up does everything; a second call changes nothing.
set_up() {
	check_machine
	install_packages
	build
	"$root/bin/plantframe" models install || fail "the networks are not in place, see above"
	if [ $((SECONDS - started)) -ge 5 ]; then say "done in $((SECONDS - started)) s"; fi
}
