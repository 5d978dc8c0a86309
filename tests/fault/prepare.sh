# prepare.sh PROGRAM DEMO FOLDER - what the commands of the fault tests work on, in FOLDER:
#   input/       files that they read: rules and reports, claims, office data, a pack
#   offices/     office files that they begin with
# All of it small, and of every kind: each call is made to fail, so each row costs.
set -eu
program=$1 demo=$2 folder=$3
here=$(pwd)
input=$folder/input offices=$folder/offices
mkdir -p "$input" "$offices"
cp -r rules reports "$input"
cp "$demo"/night-1.csv "$demo"/night-2.csv "$input"
cd "$input"

run() { # arguments of the program, which may find something
    "$program" "$@" > ../said 2>&1 || [ $? = 1 ] || { cat ../said >&2; exit 2; }
}

run pack keygen key

# --- Office data: what changes one row and adds another ---
first() { # KIND CHANGE: the header and rows of the demo, the first row changed
    awk -F, -v OFS=, "NR == 2 { $2 } { print }" "$demo/$1.csv" | head -n 40 > "$1.csv"
}
first vehicles '$9 = "exported"'
first dealers '$4 = "99.00"'
first shipments 'print; $1 = "ANOTHER-1"'
first approvals 'print; $1 = "ANOTHER-1"'
cat > notices.csv <<'END'
campaign,quarter,involved,explanation,notices_sent,estimated,awaiting_repair,unreachable_other,other_reason,removed,disqualified,submitted_on
H26-02,2026-Q1,,,2000,2400,,,,,,2026-04-28
END

# --- Claims: a night, and one that corrects it ---
head -n 41 "$demo/night-1.csv" > claims.csv
# each revision once more, the next one, a repair order and a VIN used again, a row that cannot be read
awk -F, -v OFS=, 'NR == 1 || NR <= 9 { print; next } NR <= 17 { $2 = 1; $15 = "T99"; print; next }
    NR <= 21 { $1 = $1 "X"; print; next } NR == 22 { $12 = "soon"; print }' claims.csv > corrected.csv
sed 's/,mi,/,furlong,/; s/PSH-/PSX-/; s/LEAK=dry/LEAK=wet/' claims.csv | head -n 15 > bad.csv
printf '%s\n' 'stratum,claims,deviation' 'small,400,20.5' 'large,60,120' > strata.csv
printf '%s\n' 'claim_model_year,model_year,campaign,vehicle_known' '2019,2020,H26-02,true' '2020,2020,H26-02,true' > facts.csv

# what a dealer answers, field by field: after some, what was offered, and yes to each doubt
awk -F, 'NR == 2 { printf "D113\n%s\nH26-02\ny\n\nC1\n\nRO-1\n", $6 }' claims.csv > answers
for at in $(seq 40); do printf '\ny\n'; done >> answers

# --- Other rules: something that lint finds, and what diff tells ---
cp -r rules rules-other
sed -i '2,$ s/true,/false,/' rules-other/campaigns/H26-02/eligibility.csv
sed -i '$ d' rules-other/campaigns/H26-02/kits.csv
printf '%s\n' 'F,nosuchfact,>finding,>effect,>message' 'x,>5,a,hold,No {thing}.' > rules-other/checks/claim/wrong.csv
cp -r rules rules-changed
sed -i '2,$ s/,1\([,.]\)/,2\1/' rules-changed/campaigns/H26-02/labor.csv
sed -i '$ d' rules-changed/campaigns/H26-02/prices.csv

cp -r rules rules-strict
sed -i 's/,0\.975,0\.999,/,0.55,0.6,/' rules-strict/outliers.csv

# --- Offices, one after the other ---
cp "$demo/office.db" ../offices/loaded.db
cp ../offices/loaded.db ../office.db
office="--office ../office.db --today"
run post claims.csv $office 2026-03-02 --received 2026-03-02
run load notices notices.csv $office 2026-04-01
cp ../office.db ../offices/posted.db
run outliers record --by office --rules rules-strict $office 2026-04-01
run sample draw --name s --because x --size 10 --seed 1 $office 2026-05-01 --out sheet.csv
cp ../office.db ../offices/drawn.db
awk -F, -v OFS=, 'NR > 1 { $14 = NR % 2 ? "missing" : "upheld" } 1' sheet.csv > filled.csv
run sample record s filled.csv --by x $office 2026-05-02
cp ../office.db ../offices/judged.db
run chargeback s --by x --reason y --notified 2026-05-01 $office 2026-06-01
cp ../office.db ../offices/charged.db
rm ../office.db
# one of few vehicles: a hash for each goes into a pack
head -n 25 "$demo/vehicles.csv" > few.csv
awk -F, 'NR > 1 && NR < 17 { print $6 }' claims.csv | grep -F -f - "$demo/vehicles.csv" >> few.csv
head -n 9 claims.csv > few-claims.csv
run load vehicles few.csv $office 2026-01-05
# of the dealers that packs are made for: all kinds of what they own
awk -F, 'NR == 1 || (($2 == "D111" || $2 == "D113" || $2 == "D122") && ++n[$2] <= 3)' "$demo/shipments.csv" > few-shipments.csv
awk -F, -v OFS=, 'NR == 1 || NR == 2 { print } NR == 3 { $2 = "D122"; print; $1 = "ANOTHER"; print }' \
    "$demo/approvals.csv" > few-approvals.csv
run load dealers dealers.csv $office 2026-01-05
run load shipments few-shipments.csv $office 2026-01-05
run load approvals few-approvals.csv $office 2026-01-05
run post claims.csv $office 2026-03-02
run pack --out few.pack --sign key --work 8 $office 2026-03-02 --valid-to 2026-12-31
run pack --out own.pack --sign key --work 8 --dealer D122 $office 2026-03-02 --valid-to 2026-12-31
# claims of that dealer: again and revised, a repair order and a technician's day used again, a VIN of others, two
# characters of a VIN the other way round, an approval
awk -F, -v OFS=, 'NR == 1 { print; next } NR == 2 { other = $6 } NR == 3 { typed = substr($6, 1, 15) substr($6, 17, 1) substr($6, 16, 1) }
    $3 == "D122" && n++ < 2 { print; $2 = 1; $18 = ""; print; $1 = $1 "X"; $2 = 0; $6 = other; $16 = "ANOTHER"; print
        if (n == 1) { $1 = $1 "Y"; $6 = typed; print } }' claims.csv > own-claims.csv
# what a corrected copy corrects: case, spelling, numbers, units, blanks, a VIN
awk -F, -v OFS=, 'NR == 1 { print; next } NR == 2 { $7 = "Repaired"; $5 = "h26-02"; $3 = "d122"; $6 = tolower($6) }
    NR == 3 { $6 = substr($6, 1, 15) substr($6, 17, 1) substr($6, 16, 1); $20 = "\"84,50\"" } NR == 4 { $1 = $1 " " }
    NR <= 4' claims.csv > slips.csv
# the answers again, a VIN mistyped first
awk -F, 'NR == 3 { print "\n" substr($6, 1, 15) substr($6, 17, 1) substr($6, 16, 1) "\nn\n" $6 "\nH26-02\nj\n\nC1\n\nRO-1\n" }' \
    claims.csv > other-answers
for at in $(seq 40); do printf '\nj\n'; done >> other-answers
mv ../office.db ../offices/few.db

# --- What the commands are about: NAME=VALUE, for words @NAME of the table of commands ---
"$program" check claims.csv --office ../offices/loaded.db --today 2026-03-02 --format csv > ../checked.csv || [ $? = 1 ]
awk -F, '$7 == "hold" && !held++ { print "held=" $4 "/" $2 } $7 == "pay" && $10 > 0 && !paid++ { print "paid=" $4 "/" $2; print "vin=" $6 }' \
    ../checked.csv > ../names
# the claim in hand decided by a person; what an auditor picks
run decide "$(sed -n 's/^held=//p' ../names)" pay --by office --reason Seen. --office ../offices/charged.db --today 2026-06-02
awk -F, 'NR == 1 { print "dealer,claim" } $7 == "pay" && $10 > 0 && n++ < 3 { print $4 "," $2 }' ../checked.csv > picks.csv
