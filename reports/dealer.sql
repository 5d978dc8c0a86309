-- title: One dealer's file
-- meaning: Everything about one dealer on one page: claims and money, what was found, what waits, kits, follow-up
--     work.
-- parameter: dealer text; the dealer's code
-- parameter: since date = today - 365; claims received on this day or later

-- table: own_claims
-- column: row integer; recorded row
-- column: received_on date; day of receipt
-- column: claim text; claim number
-- column: campaign text; campaign number
-- column: vin text; VIN
-- column: outcome text; repaired or inspected
-- column: decision text; as it is decided by now
-- column: decided_by text; who decided over the engine's hold
-- column: asked money; what the dealer asks for
-- column: payable money; what is payable
SELECT row, received_on, claim, campaign, vin, outcome, decision, decided_by, asked_cents AS asked,
       payable_cents AS payable
FROM claims_now
WHERE row >= coalesce((SELECT min(first_row) FROM batches_now WHERE received_on >= :since), 9223372036854775807)
  AND dealer = :dealer AND received_on >= :since

-- section: about
-- title: The dealer
-- column: valid_from date "Valid from"; day from which this version counts; empty: always
-- column: name text; name
-- column: region text; region (ISO 3166-2)
-- column: labor_rate decimal "Labor rate"; money an hour
-- column: parts_markup decimal "Parts markup"; percent on the net price
-- column: active_from date "Active from"; first day; empty: open
-- column: active_to date "Active to"; last day; empty: open
SELECT valid_from, name, region, labor_rate, parts_markup, active_from, active_to
FROM dealers_now WHERE dealer = :dealer ORDER BY valid_from

-- section: decisions
-- title: Claims by decision
-- column: decision text; as it is decided by now
-- column: claims integer; how many claims
-- column: asked money; what the dealer asks for
-- column: payable money; what is payable; for hold what would be paid
-- column: cut money; asked less payable, where it is pay or hold
-- column: share percent; of the dealer's claims
-- chart: bar x=decision y=claims
SELECT decision, count(*) AS claims, sum(asked) AS asked, sum(payable) AS payable,
       sum(CASE WHEN decision IN ('pay', 'hold') THEN asked - payable ELSE 0 END) AS cut,
       share(count(*), (SELECT count(*) FROM own_claims)) AS share
FROM own_claims GROUP BY decision ORDER BY instr('pay hold return refuse', decision)

-- section: months
-- title: By month
-- column: month text; year and month of receipt
-- column: claims integer; how many claims
-- column: asked money; what the dealer asks for
-- column: payable money; what is payable; for hold what would be paid
-- chart: line x=month y=asked,payable
SELECT substr(received_on, 1, 7) AS month, count(*) AS claims, sum(asked) AS asked, sum(payable) AS payable
FROM own_claims GROUP BY 1 ORDER BY 1

-- section: findings
-- title: Findings
-- column: effect text; refuse, return, hold, cut or note
-- column: finding text; name of the finding
-- column: claims integer; claims that have it
-- column: share percent; of the dealer's claims
-- chart: bar x=finding y=claims
SELECT effect, finding, count(*) AS claims, share(count(*), (SELECT count(*) FROM own_claims)) AS share
FROM (SELECT DISTINCT m.row, m.effect, m.finding
      FROM own_claims AS c CROSS JOIN findings_made AS m ON m.row = c.row)
GROUP BY effect, finding ORDER BY claims DESC, effect, finding

-- section: money
-- title: Paid and taken back
-- column: month text; year and month of the decision
-- column: paid money; money paid
-- column: taken_back money; money taken back
-- column: net money; both together
SELECT substr(paid_on, 1, 7) AS month, sum(CASE WHEN paid_cents > 0 THEN paid_cents ELSE 0 END) AS paid,
       sum(CASE WHEN paid_cents < 0 THEN paid_cents ELSE 0 END) AS taken_back, sum(paid_cents) AS net
FROM (SELECT b.decided_on AS paid_on, p.paid_cents
      FROM batches_now AS b CROSS JOIN payments_by_engine AS p ON p.row BETWEEN b.first_row AND b.last_row
      WHERE b.decided_on >= :since AND p.dealer = :dealer
      UNION ALL
      SELECT paid_on, paid_cents FROM payments_by_people WHERE dealer = :dealer AND paid_on >= :since
      UNION ALL
      SELECT paid_on, paid_cents FROM payments_beyond_claims WHERE dealer = :dealer AND paid_on >= :since)
GROUP BY 1 ORDER BY 1

-- section: kits
-- title: Kits
-- column: kit text; part number of the kit
-- column: shipped decimal; pieces shipped, less what came back
-- column: claimed decimal; pieces on standing claims
-- column: left_over decimal "Left"; shipped less claimed
-- column: last_shipped_on date "Last shipped"; day of the last shipment
-- column: last_claimed_on date "Last used"; last day of completion of a standing claim with it
-- chart: bar x=kit y=shipped,claimed
SELECT part AS kit, shipped_millionths AS shipped, claimed_millionths AS claimed,
       shipped_millionths - claimed_millionths AS left_over, last_shipped_on, last_claimed_on
FROM dealer_parts WHERE dealer = :dealer AND kit = 1 ORDER BY part

-- section: waiting
-- title: Held claims
-- column: claim claim; dealer and claim number
-- column: received_on date "Received"; day the office received it
-- column: decide_by date "Decide by"; day on which the time to decide ends; empty: none set
-- column: campaign text; campaign number
-- column: payable money "Would be paid"; what would be paid
-- column: why text "Why"; findings that hold it
SELECT w.dealer || '/' || w.claim AS claim, w.received_on,
       date(w.received_on, '+' || d.decide_within_days || ' days') AS decide_by, w.campaign, w.payable_cents AS payable,
       (SELECT group_concat(finding, ', ') FROM findings_made AS m WHERE m.row = w.row AND m.effect = 'hold') AS why
FROM claims_waiting AS w LEFT JOIN deadlines AS d ON d.region = w.region
WHERE w.dealer = :dealer ORDER BY w.received_on, w.claim

-- section: followups
-- title: Open follow-up work
-- column: claim claim; the claim that asks for it
-- column: vin text "VIN"; VIN
-- column: followup text "Work"; what is to be done
-- column: part text; part that it takes
-- column: due_on date "Due"; day by which it is to be done
SELECT dealer || '/' || claim AS claim, vin, followup, part, due_on
FROM followups_open WHERE dealer = :dealer ORDER BY due_on, claim

-- section: claims
-- title: Claims
-- meaning: The newest first; at most 500.
-- column: claim claim; dealer and claim number
-- column: received_on date "Received"; day the office received it
-- column: campaign text; campaign number
-- column: vin text "VIN"; VIN
-- column: outcome text; repaired or inspected
-- column: decision text; as it is decided by now
-- column: decided_by text "By"; who decided over the engine's hold
-- column: asked money; what the dealer asks for
-- column: payable money; what is payable; for hold what would be paid
SELECT :dealer || '/' || claim AS claim, received_on, campaign, vin, outcome, decision, decided_by, asked, payable
FROM own_claims ORDER BY received_on DESC, row DESC LIMIT 500
