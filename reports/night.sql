-- title: Last night's claims
-- meaning: What the files received on one day brought, what waits for a person in the whole office, and which held
--     claims run out of time.
-- parameter: day date =; day on which the office received the files (left out: the last one)
-- parameter: due_within integer = 7; held claims whose time to decide ends within so many days are urgent
--# A night is read by the range of its rows, and what waits is kept as it goes: ten years of claims do not matter.

-- table: files_of_day
-- column: file_name text; name of the file
-- column: received_on date; day it was received
-- column: decided_on date; day it was decided on
-- column: first_row integer; first of its rows
-- column: last_row integer; last of its rows
-- column: claims integer; rows that are claims
-- column: unreadable integer; rows that could not be read
-- column: repeated integer; rows that say again what was recorded
SELECT file_name, received_on, decided_on, first_row, last_row, claims, unreadable, repeated
FROM batches_now
WHERE received_on = coalesce(:day, (SELECT received_on FROM batches_now ORDER BY batch DESC LIMIT 1))
ORDER BY batch

-- table: waiting
-- column: received_on date; day the office received them
-- column: region text; region
-- column: claims integer; how many
-- column: payable money; what would be paid
SELECT received_on, region, count(*) AS claims, sum(payable_cents) AS payable FROM claims_waiting GROUP BY 1, 2

-- section: files
-- title: Files
-- column: file_name text "File"; name of the file
-- column: received_on date "Received"; day the office received it
-- column: decided_on date "Decided"; day it was decided on
-- column: claims integer; rows that are claims
-- column: unreadable integer; rows that could not be read
-- column: repeated integer; rows that say again what was recorded, and change nothing
SELECT file_name, received_on, decided_on, claims, unreadable, repeated FROM files_of_day

-- section: decisions
-- title: Decisions
-- meaning: The claims of these files as they are decided by now.
-- column: decision text; pay, hold, return or refuse
-- column: claims integer; how many claims
-- column: asked money; what the dealers ask for
-- column: payable money; what is payable; for hold what would be paid
-- column: cut money; asked less payable, where it is pay or hold
-- chart: bar x=decision y=asked,payable
SELECT r.decision, count(*) AS claims, sum(r.asked_cents) AS asked, sum(r.payable_cents) AS payable,
       sum(CASE WHEN r.decision IN ('pay', 'hold') THEN r.asked_cents - r.payable_cents ELSE 0 END) AS cut
FROM files_of_day AS f CROSS JOIN rows_decided AS r ON r.row BETWEEN f.first_row AND f.last_row
GROUP BY r.decision
ORDER BY instr('pay hold return refuse', r.decision)

-- section: findings
-- title: Findings
-- meaning: What the checks found on the claims of these files. A claim may have several.
-- column: effect text; refuse, return, hold, cut or note
-- column: finding text; name of the finding
-- column: claims integer; claims that have it
-- column: share percent; of all claims of these files
-- column: asked money; what these claims ask for
-- chart: stacked x=finding y=claims series=effect
SELECT m.effect, m.finding, count(*) AS claims,
       share(count(*), (SELECT sum(claims) FROM files_of_day)) AS share, sum(r.asked_cents) AS asked
FROM (SELECT DISTINCT m.row, m.effect, m.finding
      FROM files_of_day AS f CROSS JOIN findings_made AS m ON m.row BETWEEN f.first_row AND f.last_row) AS m
     JOIN rows_decided AS r ON r.row = m.row
GROUP BY m.effect, m.finding
ORDER BY instr('refuse return hold cut note', m.effect), claims DESC, m.finding

-- section: waiting_for_a_person
-- title: Waits for a person
-- meaning: Every held claim of the office that nobody has decided yet, by the time that is left. Silence approves
--     where the region's row in rules/deadlines.csv says so; these deadlines are examples, and counsel decides.
-- column: time_left text "Time left"; until the time to decide ends
-- column: claims integer; how many claims
-- column: silence_approves integer "Of these silence approves"; claims that count as approved when the time is over
-- column: payable money "Would be paid"; what would be paid
-- column: oldest date "Oldest received"; when the oldest of them was received
SELECT CASE WHEN d.decide_within_days IS NULL THEN 'no deadline'
            WHEN date(w.received_on, '+' || d.decide_within_days || ' days') < :today THEN 'over'
            WHEN date(w.received_on, '+' || (d.decide_within_days - :due_within) || ' days') <= :today THEN 'urgent'
            ELSE 'later' END AS time_left,
       sum(w.claims) AS claims, sum(coalesce(d.silence_approves, 0) * w.claims) AS silence_approves,
       sum(w.payable) AS payable, min(w.received_on) AS oldest
FROM waiting AS w LEFT JOIN deadlines AS d ON d.region = w.region
GROUP BY time_left
ORDER BY instr('over urgent later no deadline', time_left)

-- section: urgent
-- title: Runs out of time
-- meaning: Held claims whose time to decide is over or ends within the days asked for, the most urgent first; at
--     most 200.
-- column: claim claim; dealer and claim number
-- column: received_on date "Received"; day the office received it
-- column: decide_by date "Decide by"; day on which the time to decide ends
-- column: days_left integer "Days left"; below 0: it is over
-- column: silence text "Silence approves"; yes: the claim counts as approved then
-- column: region text; region of the dealer
-- column: campaign text; campaign number
-- column: payable money "Would be paid"; what would be paid
SELECT w.dealer || '/' || w.claim AS claim, w.received_on,
       date(w.received_on, '+' || d.decide_within_days || ' days') AS decide_by,
       CAST(julianday(w.received_on) + d.decide_within_days - julianday(:today) AS INTEGER) AS days_left,
       CASE d.silence_approves WHEN 1 THEN 'yes' ELSE 'no' END AS silence, w.region, w.campaign,
       w.payable_cents AS payable
FROM claims_waiting AS w JOIN deadlines AS d ON d.region = w.region
WHERE w.received_on <= date(:today, '-' || (d.decide_within_days - :due_within) || ' days')
ORDER BY days_left, payable DESC, w.dealer, w.claim
LIMIT 200

-- section: unreadable
-- title: Rows that could not be read
-- meaning: They are no claims, and the dealers may send them again; at most 200.
-- column: file_name text "File"; name of the file
-- column: line integer; line of the file
-- column: dealer text; as far as it could be read
-- column: claim text; as far as it could be read
-- column: message text "What is wrong"; what is wrong
SELECT b.file_name, u.line, u.dealer, u.claim, u.message
FROM batches_now AS b JOIN rows_unreadable AS u ON u.batch = b.batch
WHERE b.received_on = (SELECT received_on FROM files_of_day LIMIT 1)
ORDER BY b.batch, u.line
LIMIT 200
