#!/usr/bin/env bash
# Generates sparkplug_b_pb2.py and .pyi from sparkplug_b.proto, in an environment of its own.
# The generated code must not be newer than the oldest protobuf that pyproject.toml allows: 1.72 writes code for 6.30.
set -euo pipefail
cd "$(dirname "$0")/.."
. scripts/python.sh
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
"$python" -m venv "$work/venv"
"$work/venv/bin/python" -m pip --disable-pip-version-check install --quiet grpcio-tools==1.72.2
here=simulator/sparkplug
"$work/venv/bin/python" -m grpc_tools.protoc -I. --python_out=. --pyi_out=. "$here/sparkplug_b.proto"
for made in "$here"/sparkplug_b_pb2.py "$here"/sparkplug_b_pb2.pyi; do
  { echo "# SPDX-License-Identifier: EPL-2.0 (see sparkplug_b.proto, which this is generated from)"; cat "$made"; } > "$work/made"
  cat "$work/made" > "$made"
done
