#!/usr/bin/env bash
# Writes requirements/dev.lock: exactly what a fresh environment gets today for pyproject.toml with all extras.
set -euo pipefail
cd "$(dirname "$0")/.."
. scripts/python.sh
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT

"$python" -m venv "$work/venv"
pip=("$work/venv/bin/python" -m pip --disable-pip-version-check)
"${pip[@]}" install --quiet --upgrade pip setuptools
"${pip[@]}" install --quiet --no-build-isolation -e '.[dev,influx,mqtt,report]'
"${pip[@]}" check
{
  echo "# Made by 'make lock' with $("$work/venv/bin/python" --version) on $(uname -s) $(uname -m); do not edit."
  echo "# 'compiled': the wheel belongs to a platform (here the one named above); the others run anywhere."
  "$work/venv/bin/python" - << 'EOF'
import importlib.metadata as metadata

pins = {}
for dist in metadata.distributions():
    name = dist.metadata["Name"].lower().replace("_", "-")
    tags = [line[5:] for line in (dist.read_text("WHEEL") or "").splitlines() if line.startswith("Tag: ")]
    pure = all(tag.endswith("-any") for tag in tags)
    pins[name] = f"{name}=={dist.version}" + ("" if pure else "  # compiled")
pins.pop("meltledger")
print("\n".join(pins[name] for name in sorted(pins)))
EOF
} > "$work/dev.lock"
mkdir -p requirements
mv "$work/dev.lock" requirements/dev.lock
echo "requirements/dev.lock: $(grep -c == requirements/dev.lock) packages" >&2
