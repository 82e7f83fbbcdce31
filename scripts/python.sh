# Sourced: sets `python` to an interpreter of at least 3.11, or stops with a sentence.
python=""
for candidate in "${PYTHON:-}" python3.11 python3.12 python3.13 python3; do
  [ -n "$candidate" ] || continue
  if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
    python="$candidate"
    break
  fi
done
if [ -z "$python" ]; then
  found="$(python3 --version 2>/dev/null || echo 'no python3 at all')"
  echo "meltledger needs Python 3.11 or newer; here is $found." >&2
  echo "Install it (Debian 12: apt install python3.11 python3.11-venv) or name one: make setup PYTHON=/path/to/python3.11" >&2
  exit 2
fi
