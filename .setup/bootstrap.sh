# Sets up what a start needs and is silent when it is all there. Read with `.` by the two
# commands, with `root` set to the top of the tree. POSIX sh; needs nothing but Python 3.

venv="$root/.venv"
newline='
'

# bootstrap run|tests LIST...: Python, the system packages the lists name, .venv with the locked
# requirements and the command `referral`.
bootstrap() {
    require_python
    case $1 in
    run) locks=requirements.txt ;;
    tests) locks='requirements.txt requirements-dev.txt' ;;
    esac
    purpose=$1
    shift
    require_debian "$@"
    if ! is_set_up "$purpose"; then
        lock_others_out
        is_set_up "$purpose" || set_up "$purpose"
        exec 9<&-
    fi
    "$venv/bin/python" -m compileall -q "$root/referral" || :
}

require_python() {
    if ! command -v python3 >/dev/null 2>&1; then
        stop 2 "Python 3.11 or newer is needed, and there is no python3 on this machine."
    fi
    if ! python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
        stop 2 "Python 3.11 or newer is needed; python3 here is $(python3 -V 2>&1)."
    fi
}

# require_debian LIST...: the system packages the lists name are there, or are installed now.
require_debian() {
    command -v dpkg-query >/dev/null 2>&1 || return 0
    wanted=$(cd "$root/.setup" && sed '/^#/d' "$@")
    # shellcheck disable=SC2086 # a list of words
    found=$(dpkg-query -W -f '${Package} ${db:Status-Status}\n' $wanted 2>/dev/null) || :
    missing=
    for package in $wanted; do
        case "$newline$found$newline" in
        *"$newline$package installed$newline"*) ;;
        *) missing="$missing $package" ;;
        esac
    done
    [ -n "$missing" ] || return 0
    if [ "$(id -u)" -ne 0 ]; then
        say "Some system packages are missing. Run this line, then start again:"
        install='apt-get install -y --no-install-recommends'
        say "sudo sh -c 'apt-get update && $install$missing'"
        exit 2
    fi
    say "Installing system packages:$missing"
    # shellcheck disable=SC2086 # a list of words
    apt_install $missing || stop 1 "apt-get could not install:$missing"
}

# Fetches the lists only where what is there does not do.
apt_install() {
    apt_get -s install "$@" >/dev/null 2>&1 || apt_get update
    apt_get install "$@" || { apt_get update && apt_get install "$@"; }
}

apt_get() {
    DEBIAN_FRONTEND=noninteractive apt-get -y -qq --no-install-recommends \
        -o DPkg::Lock::Timeout=300 -o Dpkg::Use-Pty=0 "$@" >&2
}

# What .venv must have been made from: the place, the Python, the locks, this file.
fingerprint() {
    (
        cd "$root"
        { pwd -P && python3 -V && cat pyproject.toml .setup/bootstrap.sh; } 2>&1
        cd .setup
        # shellcheck disable=SC2086 # a list of words
        cat $locks
    ) | cksum
}

is_set_up() {
    [ -x "$venv/bin/referral" ] && [ -f "$venv/made-for-$1" ] &&
        [ "$(cat "$venv/made-for-$1")" = "$(fingerprint)" ]
}

# Two first starts at once: the second waits for the first and finds its work done.
lock_others_out() {
    exec 9<"$root/.setup/bootstrap.sh"
    if command -v flock >/dev/null 2>&1; then
        flock 9
    fi
}

set_up() {
    say "Setting up .venv (first start, or the requirements changed): a few minutes."
    rm -f "$venv"/made-for-*
    if ! is_venv_usable; then
        rm -rf "$venv"
        python3 -m venv "$venv" || stop 1 "python3 -m venv could not make $venv."
    fi
    lock=requirements.txt
    [ "$1" = run ] || lock=requirements-dev.txt
    pip install --require-hashes --no-deps -r "$root/.setup/$lock" ||
        stop 1 "pip could not install the requirements; it says why above."
    (cd "$root" && pip install --no-build-isolation --no-deps -e .) ||
        stop 1 "pip could not install referral itself; it says why above."
    "$venv/bin/python" -m compileall -q -j 0 "$venv/lib" >/dev/null 2>&1 || :
    mark run requirements.txt
    [ "$1" = run ] || mark tests 'requirements.txt requirements-dev.txt'
}

# A venv holds its own address, and belongs to one Python.
is_venv_usable() {
    made_at=$(sed -n 's/^command = .* -m venv //p' "$venv/pyvenv.cfg" 2>/dev/null) || return 1
    [ "$made_at" = "$venv" ] && "$venv/bin/python" -m pip --version >/dev/null 2>&1
}

pip() {
    "$venv/bin/python" -m pip --disable-pip-version-check --no-input "$@" -qq --no-compile >&2
}

mark() {
    locks=$2
    fingerprint >"$venv/made-for-$1.new"
    mv "$venv/made-for-$1.new" "$venv/made-for-$1"
}

say() {
    printf '%s\n' "$*" >&2
}

stop() {
    status=$1
    shift
    say "$*"
    exit "$status"
}
