#!/usr/bin/env bash
# Builds the environment in $1 (default .venv): the lock exactly, then the package itself, editable.
set -euo pipefail
cd "$(dirname "$0")/.."
venv="${1:-.venv}"

if [ ! -x "$venv/bin/python" ]; then
  . scripts/python.sh
  "$python" -m venv "$venv" || {
    echo "The environment could not be made; on Debian the package python3-venv may be missing." >&2
    exit 3
  }
fi
"$venv/bin/python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
  echo "$venv holds $("$venv/bin/python" --version); meltledger needs 3.11 or newer. Remove $venv and try again." >&2
  exit 2
}

log="$(mktemp)"
trap 'rm -f "$log"' EXIT
quietly() { # pip's warnings are for packagers: they are shown only when it fails
  "$venv/bin/python" -m pip --disable-pip-version-check "$@" > "$log" 2>&1 || {
    cat "$log" >&2
    echo "pip $1 failed in $venv; what it said stands above. Without a network nothing can be installed." >&2
    exit 3
  }
}

echo "building $venv from requirements/dev.lock: a minute or two, once" >&2
# The lock pins the build tools as well, so that the package is built with what stands there.
quietly install -r requirements/dev.lock
quietly install -c requirements/dev.lock --no-build-isolation -e '.[dev,influx,mqtt,report]'
quietly check
