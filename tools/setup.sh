#!/usr/bin/env bash
# Installs the Debian 12 packages that building and testing need; quick and silent when all are there.
set -euo pipefail

packages=(build-essential cmake ninja-build pkg-config
          libfftw3-dev libsndfile1-dev libsoxr-dev libeigen3-dev libceres-dev
          portaudio19-dev jackd2 libjack-jackd2-dev
          libfmt-dev libcli11-dev libtomlplusplus-dev nlohmann-json3-dev doctest-dev
          python3-numpy python3-scipy python3-jsonschema
          libjs-chart.js chromium chromium-driver  # the report page and the look at it in a browser
          clang libclang-rt-14-dev  # fuzzing the readers
          valgrind)  # counting instructions

is_installed() { [ "$(dpkg-query -W -f '${db:Status-Status}' "$1" 2>/dev/null)" = installed ]; }

missing=()
for package in "${packages[@]}"; do
  is_installed "$package" || missing+=("$package")
done
[ ${#missing[@]} -gt 0 ] || exit 0

command -v apt-get >/dev/null || { echo "setup: this needs Debian 12; install by hand: ${missing[*]}" >&2; exit 2; }
root=()
if [ "$(id -u)" -ne 0 ]; then
  command -v sudo >/dev/null || { echo "setup: run as root or with sudo, to install: ${missing[*]}" >&2; exit 2; }
  root=(sudo)
fi

echo "setup: installing ${missing[*]}" >&2
"${root[@]}" apt-get update -qq
"${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
