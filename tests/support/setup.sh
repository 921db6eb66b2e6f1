# Installs what building and testing need, from Debian's packages, when something is missing. Sourced by
# demo/run.sh and tests/run.sh, from the top folder.

build_needs="build-essential cmake pkg-config liblua5.4-dev libsqlite3-dev libuv1-dev libjansson-dev
  libmd-dev libcsv-dev libserialport-dev libsystemd-dev libgsl-dev libglib2.0-dev tzdata
  libcairo2-dev librsvg2-dev libqrencode-dev libmicrohttpd-dev fonts-liberation libcmocka-dev"
test_needs="clang-format cppcheck lua-check sqlite3 libical-dev zbar-tools libxml2-utils curl
  r-base-core r-cran-survival"

missing_packages() {
    for package in "$@"; do
        dpkg-query -W -f '${Status}\n' "$package" 2>/dev/null | grep -q 'ok installed' ||
            printf '%s ' "$package"
    done
}

set_up() {
    if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
        echo "This machine has no apt. Needed, by whatever name they go here:"
        echo "  a C compiler, CMake, pkg-config, Lua 5.4, SQLite 3, libuv, Jansson, libmd, libcsv, libserialport, GLib, tzdata,"
        echo "  libsystemd, GSL, cairo, librsvg, libqrencode, libmicrohttpd, cmocka"
        echo "  and for all tests: clang-format, cppcheck, luacheck, the sqlite3 shell, libical, zbar, xmllint, curl,"
        echo "  Rscript with its package survival"
        return 0
    fi
    missing=$(missing_packages "$@")
    [ -n "$missing" ] || return 0
    as_root=
    if [ "$(id -u)" != 0 ]; then
        command -v sudo >/dev/null || { echo "Install these first, as root: $missing"; return 1; }
        as_root=sudo
    fi
    echo "Installing: $missing"
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get update -qq
    # shellcheck disable=SC2086
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
        $missing >/dev/null
}

# The browser tests: Debian's browser and what tests/browser/package.json names, kept in build/browser.
set_up_browser() {
    commands=
    command -v node >/dev/null || commands="nodejs"
    command -v npm >/dev/null || commands="$commands npm"
    command -v chromium >/dev/null || commands="$commands chromium"
    # shellcheck disable=SC2086
    set_up $commands
    command -v npm >/dev/null || { echo "No npm: the browser tests will be skipped."; return 0; }
    mkdir -p build/browser
    cmp -s tests/browser/package-lock.json build/browser/installed && return
    cp tests/browser/package.json tests/browser/package-lock.json build/browser/
    npm ci --prefix build/browser --no-audit --no-fund --ignore-scripts >/dev/null &&
        cp tests/browser/package-lock.json build/browser/installed
}

# From a test, with $top: whether they are there; names them to the scripts of tests/browser.
browser_is_there() {
    BROWSER_MODULES=$top/build/browser
    CHROMIUM=$(command -v chromium) || return
    export BROWSER_MODULES CHROMIUM
    command -v node >/dev/null && [ -e "$BROWSER_MODULES/installed" ]
}
