# What install, upgrade, rollback and remove share. Sourced, never run.
#
#   /opt/propstick/releases/ID   one release each: its own Python environment, never changed once complete
#   /opt/propstick/current       the one that runs (a link); `previous` is the one before
#   /etc/propstick               the garden file and its secrets; yours, kept by everything here
#   /var/lib/propstick           the store and its backups; yours, kept by everything here
#
# Environment: DESTDIR puts all of it under another folder, and leaves users, packages, services and
# boot settings of this machine alone (for images, and for the tests).
# shellcheck shell=bash

DESTDIR=${DESTDIR:-}
DESTDIR=${DESTDIR%/}
SERVICE_USER=propstick
SOURCE=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
HOME_OPT=$DESTDIR/opt/propstick
HOME_ETC=$DESTDIR/etc/propstick
HOME_VAR=$DESTDIR/var/lib/propstick
UNITS=$DESTDIR/etc/systemd/system
RULES=$DESTDIR/etc/udev/rules.d/60-propstick-w1.rules
COMMAND=$DESTDIR/usr/local/bin/propstick
BASH_COMPLETION=$DESTDIR/usr/share/bash-completion/completions/propstick
ZSH_COMPLETION=$DESTDIR/usr/share/zsh/vendor-completions/_propstick
FISH_COMPLETION=$DESTDIR/usr/share/fish/vendor_completions.d/propstick.fish
LOCK=$SOURCE/deploy/requirements.txt
SERVICES=(propstick-watch.service propstick-serve.service)

say() { printf '%s\n' "$*"; }

fail() {
    printf '%s\n' "$1" >&2
    [ $# -lt 2 ] || printf 'Try: %s\n' "$2" >&2
    exit 1
}

is_live() { [ -z "$DESTDIR" ]; }

# Whether services can be started: not in an image being built, not without systemd.
has_systemd() { is_live && [ "${WITH_SYSTEMD:-yes}" = yes ] && [ -d /run/systemd/system ]; }

must_be_root() {
    if is_live && [ "$(id -u)" -ne 0 ]; then
        fail "$(basename "$0"): got user $(id -un), expected root" "sudo $0"
    fi
}

# Name and contents decide: the same sources give the same id on every machine.
release_id() {
    local version sum
    version=$(sed -n 's/^version = "\(.*\)"$/\1/p' "$SOURCE/pyproject.toml" | head -n 1)
    sum=$(cd "$SOURCE" && find daemon api deploy pyproject.toml -type f \
        ! -path '*/__pycache__/*' ! -path '*.egg-info/*' -print0 |
        LC_ALL=C sort -z | xargs -0 sha256sum | sha256sum | cut -c 1-10)
    printf '%s-%s\n' "$version" "$sum"
}

find_python() {
    local name
    for name in ${PYTHON:-python3 python3.13 python3.12 python3.11}; do
        if command -v "$name" >/dev/null && "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
            command -v "$name"
            return
        fi
    done
    fail "Python: none of 3.11 or later found" "apt-get install python3 python3-venv"
}

# Builds a release in its final place; the mark at its end tells a whole one from one cut short.
build_release() {
    local id=$1 home=$HOME_OPT/releases/$1
    if [ -f "$home/.complete" ]; then
        say "Release $id: already there"
        return
    fi
    say "Release $id: setting up its Python environment (some minutes on a Pi) ..."
    rm -rf "$home"
    mkdir -p "$HOME_OPT/releases"
    "$(find_python)" -m venv "$home"
    "$home/bin/python" -m pip install --quiet --disable-pip-version-check --no-input \
        --require-hashes -r "$LOCK" ||
        fail "packages: not all could be fetched; what runs is unchanged" "look at the network, then run this again"
    # From a copy: building must leave nothing owned by root in your checkout.
    local copy
    copy=$(mktemp -d)
    (cd "$SOURCE" && tar -cf - --exclude='__pycache__' --exclude='*.egg-info' \
        daemon api pyproject.toml README.md LICENSE) | tar -xf - -C "$copy"
    "$home/bin/python" -m pip install --quiet --disable-pip-version-check --no-input \
        --no-deps --no-build-isolation "$copy"
    rm -rf "$copy"
    mkdir -p "$home/share/propstick" "$home/share/doc/propstick"
    cp -r "$SOURCE/deploy" "$home/share/propstick/"
    cp "$SOURCE/README.md" "$SOURCE/LICENSE" "$home/share/doc/propstick/"
    chmod -R go-w "$home"
    "$home/bin/propstick" --version >/dev/null
    touch "$home/.complete"
}

# Everything outside the release that belongs to it: units, rule, command, completion.
place_files() {
    local home=$HOME_OPT/releases/$1 unit
    install -d -m 0755 "$UNITS" "$(dirname "$RULES")" "$(dirname "$COMMAND")" \
        "$(dirname "$BASH_COMPLETION")" "$(dirname "$ZSH_COMPLETION")" "$(dirname "$FISH_COMPLETION")"
    for unit in "${SERVICES[@]}"; do
        install -m 0644 "$home/share/propstick/deploy/$unit" "$UNITS/$unit"
    done
    install -m 0644 "$home/share/propstick/deploy/60-propstick-w1.rules" "$RULES"
    install -m 0755 "$home/share/propstick/deploy/propstick" "$COMMAND"
    "$home/bin/propstick" completion bash >"$BASH_COMPLETION"
    "$home/bin/propstick" completion zsh >"$ZSH_COMPLETION"
    # A rollback may go to a release that does not know fish yet.
    "$home/bin/propstick" completion fish >"$FISH_COMPLETION" 2>/dev/null || rm -f "$FISH_COMPLETION"
    if has_systemd; then
        systemctl daemon-reload
        # No udev in a container; there are no probes either.
        if [ -S /run/udev/control ]; then
            udevadm control --reload || true
            udevadm trigger --subsystem-match=w1 --action=add || true
        fi
    fi
}

# What a link of ours points to, as an id; empty if there is none.
release_of() {
    local target
    target=$(readlink "$HOME_OPT/$1" 2>/dev/null) || return 0
    basename "$target"
}

# Points a link at a release in one step: a power cut leaves the old one or the new one.
point() {
    ln -sfn "releases/$2" "$HOME_OPT/.$1.new"
    mv -T "$HOME_OPT/.$1.new" "$HOME_OPT/$1"
}

# Runs a release. Remembers the one before, unless it is the same.
switch_to() {
    local before
    before=$(release_of current)
    if [ -n "$before" ] && [ "$before" != "$1" ]; then point previous "$before"; fi
    point current "$1"
}

# A copy of the store before anything new touches it. Made while the watch runs.
backup_store() {
    local file
    [ -f "$HOME_ETC/garden.toml" ] && [ -n "$(release_of current)" ] || return 0
    file=$HOME_VAR/backups/before-$1-$(date -u +%Y%m%dT%H%M%SZ).db
    if ! ls "$HOME_VAR"/*.db >/dev/null 2>&1; then return 0; fi
    as_service mkdir -p "$HOME_VAR/backups"
    as_service "$HOME_OPT/current/bin/propstick" backup "$file" --garden "$HOME_ETC/garden.toml" ||
        fail "backup: could not be made, so nothing was changed" "propstick check"
    # The last three: a card is small.
    local copies=("$HOME_VAR"/backups/before-*.db)
    while [ ${#copies[@]} -gt 3 ]; do
        local oldest=${copies[0]} copy
        for copy in "${copies[@]}"; do if [ "$copy" -ot "$oldest" ]; then oldest=$copy; fi; done
        rm -f "$oldest"
        copies=("$HOME_VAR"/backups/before-*.db)
    done
}

as_service() {
    if is_live && [ "$(id -u)" -eq 0 ]; then runuser -u "$SERVICE_USER" -- "$@"; else "$@"; fi
}

# The watch says READY when it watches, so a restart that returns well is a watch that runs.
restart_services() {
    has_systemd || return 0
    [ -f "$HOME_ETC/garden.toml" ] || return 0
    systemctl restart propstick-watch.service && systemctl restart propstick-serve.service
}

# Keeps what runs and what one can go back to.
drop_old_releases() {
    local release id
    for release in "$HOME_OPT"/releases/*; do
        id=$(basename "$release")
        if [ "$id" != "$(release_of current)" ] && [ "$id" != "$(release_of previous)" ]; then
            rm -rf "$release"
        fi
    done
}
