#!/bin/sh
# Makes the fixtures of this folder from the netlists: ngspice 39.3 (Debian package ngspice).
# Every fifth point of the 2 us grid is kept, six figures. Run in this folder.
set -e
for n in ${*:-*.cir}; do
	n=${n%.cir}
	ngspice -b "$n.cir" >"$n.log" 2>&1 || { cat "$n.log"; exit 1; }
	awk -v head="$(sed -n 's/^\* columns: //p' "$n.cir")" 'NR==1 {print head; next} (NR-2)%5==0 {
		printf "%.0f", $1*1e6; for (i=2; i<=NF; i++) printf ",%.6g", $i; printf "\n" }' "$n.raw" >"$n.csv"
	rm -f "$n.raw" "$n.log"
done
