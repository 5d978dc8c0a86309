#!/bin/sh
# Opens every report of the demo office as HTML in headless Chromium: no error on its console and no request; charts
# are drawn; sorting and filtering work, with the keyboard too; the figures are those of the CSV; contrast; narrow
# screens; by day and by night. Screenshots stand in build/browser/shots. Where Chromium, node or npm is missing it
# says so and is done.
set -eu
cd "$(dirname "$0")/.."
program=${WITNESSMARK:-build/witnessmark} build=${WITNESSMARK_BUILD:-build}
work=$build/browser demo=$build/demo
chromium=
for name in chromium chromium-browser google-chrome; do
    if [ -z "$chromium" ]; then chromium=$(command -v $name || true); fi
done
if [ -z "$chromium" ] || ! command -v node >/dev/null || ! command -v npm >/dev/null; then
    echo "browser: skipped: Chromium, node and npm are not all here"
    exit 0
fi
mkdir -p "$work/pages" "$work/shots" "$work/npm"
if [ ! -d "$work/npm/node_modules/playwright-core" ] &&
   ! npm install --silent --no-audit --no-fund --no-save --prefix "$work/npm" playwright-core@1.56.1; then
    echo "browser: skipped: npm cannot get playwright-core"
    exit 0
fi

# An office in which something happened: three nights, decisions of people, and a claim full of mischief.
office=$work/office.db
rm -f "$office" "$work"/pages/*
cp "$demo/office.db" "$office"
office_does() { "$program" "$@" --office "$office" --quiet >/dev/null 2>&1 || [ $? = 1 ]; }
office_does post "$demo/night-1.csv" --today 2026-03-02
office_does post "$demo/night-2.csv" --today 2026-03-16
office_does post "$demo/night-3.csv" --today 2026-04-20
office_does decide D111/C10014 pay --by 'B. Office' --reason 'papers seen' --today 2026-04-21
office_does reverse D101/C12338 --by 'B. Office' --reason '=HYPERLINK("http://x.invalid","twice")' --today 2026-04-22
{
    echo 'claim,dealer,repair_order,campaign,vin,outcome,completed_on,parts,total_amount'
    echo '<script>window.harmed=1</script>,D101,RO-1,H26-02,EZ7BAMCK6JE104729,repaired,2026-04-20,PSH-1600-01,500.00'
    echo '"=cmd|""/c calc""!A1",D101,RO-2,<img src=x onerror=harmed=1>,@SUM(1),repaired,2026-04-20,,1.00'
    printf '%s,D101,RO-3,H26-02,"</script><script>window.harmed=1</script>",repaired,2026-04-20,,1.00\n' \
        "$(head -c 65000 /dev/zero | tr '\0' w)"
} > "$work/mischief.csv"
office_does post "$work/mischief.csv" --today 2026-04-23
office_does sample draw --name visit --size 40 --seed 1 --because 'a look at everybody' --today 2026-04-24 \
    --out "$work/sheet.csv"
awk -F, -v OFS=, 'NR == 1 { for (i = 1; i <= NF; i++) if ($i == "judgement") j = i; else if ($i == "right_amount") r = i }
    NR > 1 { $j = "upheld" } NR > 1 && NR < 8 { $j = "error"; $r = "10.00" } { print }' "$work/sheet.csv" > "$work/judged.csv"
office_does sample record visit "$work/judged.csv" --by 'C. Auditor' --today 2026-04-29

# What a report must be told.
parameters() {
    case $1 in
    completion) echo --campaign H26-02 ;;
    dealer) echo --dealer D101 ;;
    audit) echo --sample visit ;;
    quarterly) echo --campaign H26-02 --quarter 2026-Q1 ;;
    esac
}
"$program" report list --format csv --section reports | tail -n +2 | cut -d, -f1 > "$work/names"
while read -r name; do
    for format in html csv; do
        # shellcheck disable=SC2046
        "$program" report "$name" $(parameters "$name") --office "$office" --today 2026-05-01 --format $format \
            --plain-cells --out "$work/pages/$name.$format"
    done
done < "$work/names"
NODE_PATH=$work/npm/node_modules node tests/browser/pages.js "$chromium" "$work"
