#!/usr/bin/env bash
# The main job on a demonstration rig in a simulated room, from a bare Debian 12 machine to the sheet: installs what is
# missing, builds the program at build/ringtrue, calibrates, prints the sheet.
set -euo pipefail
cd "$(dirname "$0")/.."

bash tools/setup.sh
{ cmake --preset release && cmake --build --preset release --target ringtrue_app; } >&2

status=0
build/ringtrue calibrate test_signals/demo/rig.toml --virtual test_signals/demo/room.toml --out build/demo --overwrite ||
  status=$?
echo "demo: the results are in build/demo" >&2
[ "$status" -le 1 ]  # 1: done, with findings that need eyes; they stand on the sheet
