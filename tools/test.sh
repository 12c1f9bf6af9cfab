#!/usr/bin/env bash
# Builds everything with warnings as errors and passes all tests, from a bare Debian 12 machine on.
set -euo pipefail
cd "$(dirname "$0")/.."

bash tools/setup.sh
cmake --preset release
cmake --build --preset release
ctest --preset release --parallel "$(nproc)"
