#!/usr/bin/env bash
# Generates sparkplug_b_pb2.py and .pyi from each sparkplug_b.proto, in an environment of its own.
# The generated code must not be newer than the oldest protobuf that pyproject.toml allows: 1.72 writes code for 6.30.
set -euo pipefail
cd "$(dirname "$0")/.."
. scripts/python.sh
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
"$python" -m venv "$work/venv"
"$work/venv/bin/python" -m pip --disable-pip-version-check install --quiet grpcio-tools==1.72.2
"$work/venv/bin/python" -m grpc_tools.protoc -I. --python_out=. --pyi_out=. \
  simulator/sparkplug/sparkplug_b.proto collector/sparkplug/sparkplug_b.proto
