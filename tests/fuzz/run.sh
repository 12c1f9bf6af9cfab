#!/usr/bin/env bash
# Fuzzes each reader for SECONDS, all at the same time; fails on a find and leaves it in build-fuzz/finds/READER.
#   tests/fuzz/run.sh SECONDS [READER ...]
# Needs Debian's clang and libclang-rt-14-dev (tools/setup.sh installs them).
# RINGTRUE_FUZZ_BUILD: another build folder than build-fuzz.
set -euo pipefail
cd "$(dirname "$0")/../.."

seconds=${1:?fuzz: say for how many seconds, e.g. tests/fuzz/run.sh 60}
shift
readers=("$@")
[ ${#readers[@]} -gt 0 ] || readers=(rig room microphone calibration sound)
build=$(realpath -m "${RINGTRUE_FUZZ_BUILD:-build-fuzz}")

cmake --preset fuzz -B "$build" >/dev/null
cmake --build "$build" --target "${readers[@]/#/ringtrue_fuzz_}"

fuzz() {  # what was found worth keeping grows in the build folder; the seeds in the source stay as they are
  local reader=$1 seeds=$PWD/tests/fuzz/corpus/$1
  mkdir -p "$build/corpus/$reader" "$build/finds/$reader"
  cd "$build/finds/$reader"
  nice -n 10 "$build/tests/fuzz/ringtrue_fuzz_$reader" -max_total_time="$seconds" -max_len=16384 -timeout=30 \
    -rss_limit_mb=2048 -print_final_stats=1 "$build/corpus/$reader" "$seeds" >fuzz.log 2>&1
}

jobs=()
for reader in "${readers[@]}"; do
  (fuzz "$reader") &
  jobs+=($!)
done
found=0
: >"$build/summary"
for i in "${!readers[@]}"; do
  reader=${readers[$i]}
  wait "${jobs[$i]}" || found=1
  log=$build/finds/$reader/fuzz.log
  runs=$(sed -n 's/^stat::number_of_executed_units: *//p' "$log")
  reached=$(sed -n 's/^#.*\(INITED\|DONE\) *cov: *\([0-9]*\).*/\2/p' "$log" | paste -sd' ' | sed 's/ / to /')
  echo "$reader: $seconds s, ${runs:-0} inputs, places in the code reached: ${reached:-none}" |
    tee -a "$build/summary"
  grep -h "^SUMMARY" "$log" || true
done
[ "$found" -eq 0 ] || { echo "fuzz: a reader did not withstand; the bytes are in $build/finds" >&2; exit 1; }
