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
# odd ones: several kits, many of one, hours beyond a day, one order for several vehicles, a vehicle once more, the same
# revision with another technician, an older campaign before its newer one; and some with approvals
awk -F, -v OFS=, 'NR == 1 { print; next } { $1 = $1 "O"; } NR <= 6 { $17 = $17 ";PSH-2200-01=5000;PSH-2000-02=1" }
    NR == 9 { $17 = "PSH-2000-01=x" } NR == 10 { $18 = "PSR-10=1;=2" } NR == 11 { $6 = substr($6, 1, 16) ($6 ~ /1$/ ? 2 : 1) }
    NR == 12 { for (i = 1; i <= 40; i++) $17 = $17 ";PSH-" i "=1" }
    NR > 4 && NR <= 8 { $18 = "PSR-10=4000;" $18 } NR > 6 && NR <= 12 { $3 = "D113"; $4 = "OF-ONE" }
    NR <= 14 { print; if (NR == 3) { $15 = "T98"; print } $1 = $1 "2"; if (NR % 2) $3 = "D116"; if ($5 == "H24-05") $5 = "H26-02"; print }' \
    claims.csv > odd.csv
awk -F, '$16 ~ /^A-/' night-1.csv | head -n 3 >> odd.csv
# as spreadsheets of some countries save it
awk -F, -v OFS=';' 'NR > 1 { for (i = 17; i < 20; i++) $i = "\"" $i "\""; for (i = 20; i <= NF; i++) sub(/\./, ",", $i) } { $1 = $1 } NR < 10' \
    claims.csv > spread.csv
printf '%s\n' 'stratum,claims,deviation' 'small,400,20.5' 'large,60,120' > strata.csv
printf '%s\n' 'claim_model_year,model_year,campaign,vehicle_known' '2019,2020,H26-02,true' '2020,2020,H26-02,true' > facts.csv

# a claim of the next night, and that whole night
sed -n '1p; 2p' night-2.csv > one.csv
# vehicles in several blocks, with quotes in a column of no meaning
awk -v q='"' 'BEGIN { word = "a rather long remark that says "; for (i = 0; i < 20; i++) more = more word }
    { print $0 "," (NR == 1 ? q "re" q q "marks" q : q more q q "nothing" q q q) } NR == 401 { exit }' "$demo/vehicles.csv" > long.csv

# what a dealer answers, field by field: after some, what was offered, and yes to each doubt
awk -F, 'NR == 2 { printf "D113\n%s\nH26-02\ny\n\nC1\n\nRO-1\n", $6 }' claims.csv > answers
for at in $(seq 40); do printf '\ny\n'; done >> answers

# --- Other rules: something that lint finds, and what diff tells ---
cp -r rules rules-other
sed -i '2,$ s/true,/false,/' rules-other/campaigns/H26-02/eligibility.csv
sed -i '$ d' rules-other/campaigns/H26-02/kits.csv
printf '%s\n' 'F,nosuchfact,>finding,>effect,>message' 'x,>5,a,hold,No {thing}.' > rules-other/checks/claim/wrong.csv
# every fact of a claim is asked for, two rows hit where one may, and nothing is returned, so that odd claims count
cp -r rules rules-every
sed -i 's/,return,/,hold,/; s/,refuse,/,hold,/' rules-every/checks/*/*.csv
awk -F, -v OFS= 'NR > 1 && $3 == "claim" { facts = facts "," $1; any = any ",-" }
    END { print "F" facts ",>finding,>effect,>message"; sub(/-/, "none", any); print "none" any ",every,hold,None." }' \
    rules/facts.csv > rules-every/checks/claim/every.csv
for file in rules-every/*.csv; do sed -i '1 s/^\([^,]*\),/"\1",/' $file; done
for check in $(seq 10); do printf 'F,part,>finding,>effect,>message\nx,"""none""",several,hold,None.\n' > rules-every/checks/part/several-$check.csv; done
for scope in claim part; do
    { echo 'F,campaign,>finding,>effect,>message'; seq 70 | sed 's/.*/r&,"""none-&""",many,hold,None./'; } > rules-every/checks/$scope/many.csv
done
awk -F, -v OFS=, 'NR == 2 || NR == 3 { $1 = $1 "-again"; $7 = "PSH-2200-01"; print }' rules/campaigns/H26-02/kits.csv \
    >> rules-every/campaigns/H26-02/kits.csv
cp -r rules rules-changed
sed -i '2,$ s/,1\([,.]\)/,2\1/' rules-changed/campaigns/H26-02/labor.csv
sed -i '$ d' rules-changed/campaigns/H26-02/prices.csv

# of every kind that lint finds, and diff tells in words: the first row of a table quoted, as a spreadsheet may write it
cp -r rules rules-faulty
odd=rules-faulty/campaigns/H26-02
sed -i '/^tarrow-d22/d; s/\[2021\.\.2022\],D22/[2021..2023],D22/; s/brindle-r20-manual,Brindle/brindle-r20-manual,-/' $odd/kits.csv
sed -i '1s/^F/"F"/; /^first/i everyone,Brindle,[2018..2019],-,-,-,-,true,frst' $odd/eligibility.csv
sed -i '/^second/{h;d}; /^third/G' $odd/eligibility.csv
sed -i '/^leak/s/dry//' $odd/inspections.csv
sed -i 's/D22,-,repaired/D22,-,repared/; /^towing/s/,0.3,/,0.35,/; s/manual/manaul/' $odd/labor.csv
sed -i 's/inspection:CAP/inspection:LID/; s/RCP-0330/RCP-0331/' $odd/followups.csv
sed -i '/^ORS-0207/d; /^PSH-2200-01/d; s/CLP-0055,1.45,2026-02-16/CLP-0055,1.45,2026-02-17/; $ a PSH-9000-01,1.00,' $odd/prices.csv
sed -i '/^closes_on/s/,/,2026-02-10/; s/^hazard,"The/hazard,"Once more: the/' $odd/campaign.csv
sed -i '/^second/s/,.*/,/' $odd/stages.csv
sed -i '2s/Tarrow"/Tarrow, Alder"/; /^third/s/<= 2022-05-31/[2019-01-01..2022-05-31]/' $odd/eligibility.csv
cp -r rules-faulty/campaigns/H24-05 rules-faulty/campaigns/H23-01 # with tables that lack in the other one
(cd rules-faulty/campaigns/H24-05 && rm inspections.csv labor.csv parts.csv followups.csv ../H23-01/kits.csv)
sed -i 's/2026-02-28/2024-06-01/' rules-faulty/campaigns/H24-05/campaign.csv
sed -i 's/,transmission//; s/,"manual, automatic"//' rules-faulty/campaigns/H24-05/eligibility.csv
sed -i 's/H24-05/H23-01/; s/^title,.*/title,A sleeve/' rules-faulty/campaigns/H23-01/campaign.csv
sed -i 's/^U/F/; /^values/d; s/Brindle/"matches(?, ""^B"")"/' rules-faulty/campaigns/H23-01/eligibility.csv
sed -i '/^sleeve/s/required/allowed/' rules-faulty/campaigns/H23-01/labor.csv
sed -i 's/operation-unknown/operation-unknwn/' rules-faulty/outliers.csv
sed -i '/^elsewhere/d; 1 a values,"""US-NY"", ""US-CA"", ""US-NV""",,,,,,,,' rules-faulty/deadlines.csv
cd rules-faulty/checks
echo 'again,false,-,null,dealer-unknown,hold,The office has no dealer {dealer}.' >> claim/dealer.csv
echo 'odd,-,-,< opened_on,odd-day,hold,Look at it.' >> claim/dealer.csv
echo 'same,-,-,> opened_on,odd-day,note,Look at it.' >> claim/dealer.csv
sed -i '/^repaired-here/s/not(null)/-/' claim/history.csv
sed -i '/^length/s/,-/,bad/' claim/vin.csv
sed -i '1a any,-,-,-,-,-,not(hours_allowed),-,,,' inspection/inspections.csv
sed -i 's/"""H26-02"""/"""H26-03"""/' claim/campaign-H26-02.csv
cd ../..
cat > rules-faulty/checks/claim/words.csv <<'END'
"U",technician,engine,>finding,>effect,>message
a,"> ""a\u0062""","matches(?, ""^\u0052"")",odd-words,note,Look at {technician} and {engine}.
b,"> ""abc"", < ""a""",R20,odd-words,hold,Look at {technician}.
c,[a..z],Q20,odd-words,note,Look at it.
d,Anna-Berg,-,,,
e,Anna-Berg,-,,,
f,Anna-Berk,-,,,
g,"matches(?, ""^N"")",-,,,
h,"matches(?, ""^.{9}"")",-,,,
END
cat > rules-faulty/checks/claim/ranks.csv <<'END'
P,kits_listed,>finding,>effect,>message
values,,"""many"", ""f\u0065w""",,
some,> 1,many,note,More than one kit.
two,2,few,note,Two kits.
END
cat > rules-faulty/checks/claim/same.csv <<'END'
A,claim_model_year,>message,>finding,>effect
r0,> 2000,"Look at {claim_model_year}, please: it is later than 2000.",odd-year,note
r1,> 2001,"Look at {claim_model_year}, please: it is later than 2001.",odd-year,note
r2,> 2002,"Look at {claim_model_year}, please: it is later than 2002.",odd-year,note
r3,> 2003,"Look at {claim_model_year}, please: it is later than 2003.",odd-year,note
r4,> 2004,"Look at {claim_model_year}, please: it is later than 2004.",odd-year,note
r5,> 2005,"Look at {claim_model_year}, please: it is later than 2005.",odd-year,note
END

cp -r rules rules-strict
sed -i 's/,0\.975,0\.999,/,0.55,0.6,/' rules-strict/outliers.csv
sed -i '/^new-york/s/,365,,/,365,30,/' rules-strict/deadlines.csv

# --- Tables to try: a pattern and a long text, which it searches deeply; more sets of rows than are kept whole ---
awk 'BEGIN { for (at = 0; at < 60000; at++) text = text "a"; print "\"engine\",campaign"; print text ",\"H26-02\"" }' > deep-facts.csv
cat > deep.csv <<'END'
"O",engine,campaign,>found
values,,,"""\u0061"", b"
a,"matches(?, ""^(?:(a)|b)*\u0024"")",-,a
b,-,H26-02,b
END
awk 'BEGIN { print "C,claim_model_year,>found"; for (at = 0; at < 17000; at++) print "r" at ",< " at ",1" }' > many.csv
printf '%s\n' claim_model_year 2020 16990 > many-facts.csv

# --- Offices, one after the other ---
cp "$demo/office.db" ../offices/loaded.db

# --- What the commands are about: NAME=VALUE, for words @NAME of the table of commands ---
"$program" check claims.csv --office ../offices/loaded.db --today 2026-03-02 --format csv > ../checked.csv || [ $? = 1 ]
awk -F, '$7 == "hold" && !held++ { print "held=" $4 "/" $2 } $7 == "pay" && $10 > 0 && !paid++ { print "paid=" $4 "/" $2; print "vin=" $6 }' \
    ../checked.csv > ../names
awk -F, 'NR == 1 { print "dealer,claim" } $7 == "pay" && $10 > 0 && n++ < 3 { print $4 "," $2 }' ../checked.csv > picks.csv

# --- and the next ones ---
cp ../offices/loaded.db ../office.db
office="--office ../office.db --today"
run post claims.csv $office 2026-03-02 --received 2026-03-02
run load notices notices.csv $office 2026-04-01
cp ../office.db ../offices/posted.db
# people decided, and what finds the rows of a last claim stands by itself
run decide "$(sed -n 's/^held=//p' ../names)" pay --by office --reason Seen. $office 2026-03-08
run post one.csv $office 2026-03-09 --received 2026-03-09
cp ../office.db ../offices/recent.db
run outliers record --by office --rules rules-strict $office 2026-04-01
run sample draw --name s --because x --size 10 --seed 1 $office 2026-05-01 --out sheet.csv
cp ../office.db ../offices/drawn.db
awk -F, -v OFS=, 'NR > 1 { $14 = NR % 2 ? "missing" : "upheld" } 1' sheet.csv > filled.csv
run sample record s filled.csv --by x $office 2026-05-02
cp ../office.db ../offices/judged.db
run chargeback s --by x --reason y --notified 2026-05-01 $office 2026-06-01
cp ../office.db ../offices/charged.db
rm ../office.db
# two that somebody changed: what was said of a claim, and a view
LC_ALL=C sed 's/no campaign H26-20/no campaign H26-21/' ../offices/charged.db > ../offices/changed.db
LC_ALL=C sed 's/CREATE VIEW payments/create VIEW payments/' ../offices/charged.db > ../offices/other-view.db
# one whose claims are all of one dealer, so many that a sample of them speaks for the rest, and one drawn by money
cp ../offices/loaded.db ../office.db
head -n 61 night-1.csv | awk -F, -v OFS=, 'NR > 1 { $3 = "D113"; $4 = "OF-" NR; $1 = "E" NR } 1' > alone.csv
run post alone.csv $office 2026-03-02
run sample draw --name e --because x --dealer D113 --size 32 --seed 1 $office 2026-05-01 --out sheet-e.csv
run sample draw --name m --because x --dealer D113 --size 8 --by money --seed 1 $office 2026-05-01 --out sheet-m.csv
awk -F, -v OFS=, 'NR > 1 { $14 = NR % 4 ? "upheld" : "missing" } 1' sheet-e.csv > filled-e.csv
awk -F, -v OFS=, 'NR > 1 { $14 = NR % 4 ? "upheld" : "missing" } 1' sheet-m.csv > filled-m.csv
run sample record e filled-e.csv --by x $office 2026-05-02
run sample record m filled-m.csv --by x $office 2026-05-02
awk -F, -v OFS=, 'NR == 1 || NR < 5 { print $3, $4 }' sheet-e.csv > some-picks.csv
# and in a later quarter the vehicles are others
awk -F, -v OFS=, 'NR > 1 { $3 = 2016 } NR <= 30' "$demo/vehicles.csv" > older.csv
run load vehicles older.csv $office 2026-04-10
cp ../office.db ../offices/spoken.db
run chargeback e --extrapolate --by x --reason y --notified 2026-05-01 $office 2026-06-01
mv ../office.db ../offices/covered.db
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
run pack --out every.pack --sign key --work 8 --dealer D116 --rules rules-every $office 2026-03-02 --valid-to 2026-12-31
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
