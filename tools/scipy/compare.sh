#!/usr/bin/env bash
# Holds filters, spectra and statistics of this repository against SciPy on the
# same data, and times both. Debian's python3-scipy is installed where it is absent
# and apt works; where it cannot be had, says NOT RUN and ends with 77.
# Prints Markdown; docs/scipy.md keeps a run.
set -euo pipefail
cd "$(dirname "$0")/../.."
python=/usr/bin/python3
if ! "$python" -c 'import scipy' 2>/dev/null; then
  if ! { command -v apt-get >/dev/null && [ "$(id -u)" = 0 ] && { apt-get install -y -qq python3-scipy || { apt-get update -qq && apt-get install -y -qq python3-scipy; }; } >/tmp/proveout-scipy.log 2>&1; } || ! "$python" -c 'import scipy' 2>/dev/null; then
    echo "   NOT RUN: SciPy is not installed here and could not be" >&2
    exit 77
  fi
fi
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
PROVEOUT_SCIPY=$folder GOMAXPROCS=1 go test ./measure -run '^TestWriteForSciPy$' -count=1 >&2
OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 "$python" tools/scipy/compare.py "$folder"
