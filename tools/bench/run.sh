#!/usr/bin/env bash
# Prints how fast the analysis is, from one run: measure() against the bare FFTW transforms it needs and the same steps in
# scipy, the whole program, growth with outputs, positions and sample rate, peak memory, the equaliser's fit and the
# report, and the time in the room, one by one and interleaved (docs/performance.md).
#
#     tools/bench/run.sh [BUILD-FOLDER] [further options of ringtrue_bench, e.g. --rounds 9]
set -euo pipefail
cd "$(dirname "$0")/../.."
build=${1:-build}
shift || true

[ -f "$build/CMakeCache.txt" ] || cmake --preset release -B "$build" >&2
cmake --build "$build" --target ringtrue_app ringtrue_bench >&2

folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
"$build/tools/bench/ringtrue_bench" --folder "$folder" --program "$build/ringtrue" \
  --script tools/bench/scipy_steps.py "$@"
