-- title: Deadlines
-- meaning: Held claims by the time that the office has left to decide them. The days stand in rules/deadlines.csv
--     by region; they are examples to configure, and local law and the office's own counsel decide.
-- parameter: due_within integer = 14; list claims whose time ends within so many days
-- parameter: region text =; only dealers of this region
-- parameter: dealer text =; only this dealer

-- table: waiting
-- column: received_on date; day the office received it
-- column: decide_by date; day on which the time to decide ends
-- column: days_left integer; days until then
-- column: silence integer; 1: silence approves
-- column: dealer text; dealer code
-- column: region text; region
-- column: claim text; claim number
-- column: campaign text; campaign number
-- column: payable money; what would be paid
SELECT w.received_on, date(w.received_on, '+' || d.decide_within_days || ' days') AS decide_by,
       CAST(julianday(w.received_on) + d.decide_within_days - julianday(:today) AS INTEGER) AS days_left,
       d.silence_approves AS silence, w.dealer, w.region, w.claim, w.campaign, w.payable_cents AS payable
FROM claims_waiting AS w LEFT JOIN deadlines AS d ON d.region = w.region
WHERE (:region IS NULL OR w.region = :region) AND (:dealer IS NULL OR w.dealer = :dealer)

-- section: regions
-- title: By region
-- column: region text; region of the dealers (ISO 3166-2)
-- column: decide_within_days integer "Days to decide"; from receipt; empty: none set
-- column: silence text "Silence approves"; yes: a claim counts as approved when the time is over
-- column: waiting integer; held claims
-- column: over integer; of these, time is over
-- column: soon integer "Within the days asked for"; of these, time ends within the days asked for
-- column: payable money "Would be paid"; what would be paid
-- chart: bar x=region y=waiting,over,soon
SELECT w.region, (SELECT decide_within_days FROM deadlines AS d WHERE d.region = w.region) AS decide_within_days,
       CASE max(w.silence) WHEN 1 THEN 'yes' ELSE 'no' END AS silence, count(*) AS waiting,
       coalesce(sum(days_left < 0), 0) AS over,
       coalesce(sum(days_left BETWEEN 0 AND :due_within), 0) AS soon, sum(payable) AS payable
FROM waiting AS w GROUP BY w.region ORDER BY w.region

-- section: urgent
-- title: The most urgent
-- column: claim claim; dealer and claim number
-- column: received_on date "Received"; day the office received it
-- column: decide_by date "Decide by"; day on which the time to decide ends
-- column: days_left integer "Days left"; below 0: it is over
-- column: silence text "Silence approves"; yes: the claim counts as approved then
-- column: region text; region of the dealer
-- column: campaign text; campaign number
-- column: payable money "Would be paid"; what would be paid
SELECT dealer || '/' || claim AS claim, received_on, decide_by, days_left,
       CASE silence WHEN 1 THEN 'yes' ELSE 'no' END AS silence, region, campaign, payable
FROM waiting
WHERE days_left <= :due_within
ORDER BY days_left, payable DESC, dealer, claim
LIMIT 5000
