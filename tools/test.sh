#!/usr/bin/env bash
# Builds everything with warnings as errors and passes all tests, from a bare Debian 12 machine on.
set -euo pipefail
cd "$(dirname "$0")/.."

bash tools/setup.sh
cmake --preset release
cmake --build --preset release
# Two more than there are cores: one test mostly waits for a sound card, one fuzzes and yields to the others.
ctest --preset release --parallel $(($(nproc) + 2))
cat build/fuzz/summary 2>/dev/null || true
