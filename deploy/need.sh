# Sourced by the scripts: installs what is missing from Debian's packages.

# install PACKAGE [PACKAGE ...]
install() {
    echo "installing $*" >&2
    local as_root=()
    if [ "$(id -u)" -ne 0 ]; then
        as_root=(sudo)
    fi
    "${as_root[@]}" apt-get update -qq
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >/dev/null
}

# need COMMAND PACKAGE [PACKAGE ...]: installs the packages unless the command is there.
need() {
    local command=$1
    shift
    command -v "$command" >/dev/null 2>&1 || install "$@"
}
