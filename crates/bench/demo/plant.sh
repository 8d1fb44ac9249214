#!/bin/sh
# Draws the readings of both units anew: plant.sh PATH-OF-KNOWNGOOD. What is planted here is told in README.md.
set -eu
knowngood=$1
cd "$(dirname "$0")"
scratch=$(mktemp -d)
trap 'rm -r "$scratch"' EXIT
mkdir -p readings

# pairs BOARD: the places that were read, one "kind red black" a line, from standard input.
pairs() {
    { echo kind,red,black,state; sed 's/ /,/g; s/$/,cold/'; } > "$scratch/$1.pairs"
}

# units BOARD SHEET1 SHEET2 FAULT1 FAULT2: the readings of unit 1, then of unit 2; no fault is an empty word.
units() {
    board=$1
    for unit in 1 2; do
        if [ "$unit" = 1 ]; then sheet=$2 fault=$4; else sheet=$3 fault=$5; fi
        "$knowngood" board simulate "$sheet" --seed "$seed$unit" --pairs "$scratch/$board.pairs" --unit "$unit" \
            ${fault:+--with "$fault"} > "$scratch/$unit"
    done
    { cat "$scratch/1"; tail -n +2 "$scratch/2"; } | as_written > "readings/$board.csv"
}

# as_written: values to the four digits that one reads off the meter.
as_written() {
    awk -F , -v OFS=, 'NR > 1 && $6 != "OL" {
        value = $6; letter = "R"
        if ($3 == "diode") { value *= 1000; $6 = sprintf("%.0fm", value) }
        else {
            if (value >= 1e6) { value /= 1e6; letter = "M" } else if (value >= 1e3) { value /= 1e3; letter = "k" }
            $6 = sprintf("%.*f%s", value < 10 ? (letter == "R" ? 2 : 3) : value < 100 ? 2 : 1, value, letter)
        }
    } { print }'
}

# as_made BOARD SCRIPT: the sheet as it really is, by a script for sed.
as_made() {
    sed "$2" "sheets/$1.kdl" > "$scratch/$1.kdl"
    ! cmp -s "sheets/$1.kdl" "$scratch/$1.kdl"
    echo "$scratch/$1.kdl"
}

pairs a1 <<END
ohms +12V 0V
ohms 0V +12V
ohms +6V 0V
ohms 0V +6V
ohms RAW 0V
ohms ZB 0V
ohms FB 0V
diode DRV SENS
ohms AC3 AC4
END
pairs a2 <<END
ohms LIVE NEUTRAL
ohms -12V 0V
ohms 0V -12V
ohms RAW 0V
ohms RAW DRV
ohms 0V TAIL
ohms FB 0V
diode AC1 0V
diode REF 0V
END
pairs a3 <<END
ohms 0V -12V
ohms A -12V
ohms 0V A
ohms 0V AN
ohms 0V B
ohms 0V BN
ohms BN B4
diode 0V B4
diode 0V B2
END
pairs a4 <<END
ohms +120V 0V
ohms HT PA
ohms HT PD
ohms XP 0V
ohms XM 0V
ohms B1 0V
ohms B2 0V
ohms SA SD
diode MON 0V
END
pairs a5 <<END
ohms KC -12V
ohms 0V STROBE
ohms STROBE -12V
ohms 0V ST
ohms ST SB
ohms 0V W1
ohms 0V W8
ohms W2 OUT2
diode W4 K4
END
pairs a6 <<END
ohms +120V 0V
ohms 0V +120V
ohms RAW +120V
ohms RAW 0V
ohms HRAW HTR
ohms F1 0V
END
pairs crt <<END
ohms CATH HTR
ohms GRID CATH
ohms HTR 0V
ohms FOC X1
ohms X1 X2
END

sheets=sheets
seed=31; units a1 $sheets/a1.kdl $sheets/a1.kdl "C6 leaky=330" "C6 leaky=330"
altered=$(as_made a2 '/R4 "2k2"/ { s/2k2/2k4/; s/composition/film/; }; /lamp B1/d')
seed=32; units a2 "$altered" $sheets/a2.kdl "" ""
seed=33; units a3 $sheets/a3.kdl $sheets/a3.kdl "Q4 bc-short" ""
seed=34; units a4 $sheets/a4.kdl $sheets/a4.kdl "" "R16 open"
fitted=$(as_made a5 's/R6 "4k7"/R6 "15k"/')
seed=35; units a5 "$fitted" "$fitted" "" ""
seed=36; units a6 $sheets/a6.kdl $sheets/a6.kdl "R1 short" "R10 short"
seed=37; units crt $sheets/crt.kdl $sheets/crt.kdl "" "bridge CATH HTR"
