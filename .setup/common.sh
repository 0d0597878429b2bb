# Shared by demo/start, tests/run and .ci/run: says what it does, installs packages, builds.
# Sourced from a script that set -eu and changed to the project's folder.

say() { printf '== %s\n' "$*"; }

# install_packages build test … : what .setup/packages-* list and this machine lacks.
install_packages() {
    local wanted missing=() name
    wanted=$(cd .setup && cat "${@/#/packages-}")
    for name in $wanted; do
        [ "$(dpkg-query -W -f '${db:Status-Status}' "$name" 2>/dev/null)" = installed ] ||
            missing+=("$name")
    done
    if [ ${#missing[@]} -eq 0 ]; then
        say "packages: all there"
        return
    fi
    say "packages: installing ${missing[*]}"
    local as_root=()
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null || {
            echo "These Debian packages are missing, and neither root nor sudo is at hand:" \
                "${missing[*]}. Have them installed, then start this again." >&2
            exit 2
        }
        as_root=(sudo)
    fi
    local log
    log=$(mktemp)
    if ! { "${as_root[@]}" apt-get update -q &&
        "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive \
            apt-get install -y -q --no-install-recommends "${missing[@]}"; } >"$log" 2>&1; then
        tail -n 20 "$log" >&2
        echo "The packages could not be installed (log: $log). Is the network there?" >&2
        exit 2
    fi
    rm -f "$log"
}

# configure FOLDER options… : a build folder under build/, made once. Our sources are joined into
# units of eight files, which halves a first build.
configure() {
    local folder=build/$1
    shift
    say "configuring $folder"
    cmake -S . -B "$folder" -G Ninja -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=8 "$@" >"$folder.log" 2>&1 || {
        tail -n 30 "$folder.log" >&2
        echo "Configuring failed; the whole log is in $folder.log." >&2
        exit 1
    }
}

# compile FOLDER [targets…]
compile() {
    local folder=build/$1
    shift
    say "building $folder"
    cmake --build "$folder" ${1:+--target "$@"} >"$folder.build.log" 2>&1 || {
        grep -E -A5 'error|FAILED' "$folder.build.log" | head -n 60 >&2
        echo "Building failed; the whole log is in $folder.build.log." >&2
        exit 1
    }
}
