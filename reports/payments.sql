-- title: Payments
-- meaning: What the office's decisions paid and took back in a time, by month and by dealer, and every reversal.
-- parameter: since date = today - 365; decided on this day or later
-- parameter: until date = today; decided on this day or earlier
-- parameter: dealer text =; only this dealer
-- parameter: campaign text =; only this campaign

-- table: moved
-- column: month text; year and month
-- column: dealer text; dealer code
-- column: payments integer; times that money was paid
-- column: paid money; money paid
-- column: takes_back integer; times that money was taken back
-- column: taken_back money; money taken back
--# What the engine paid goes by the day of its file, so only the rows of those files are read; people decided the rest.
SELECT substr(day, 1, 7) AS month, dealer, sum(cents > 0) AS payments,
       sum(CASE WHEN cents > 0 THEN cents ELSE 0 END) AS paid, sum(cents < 0) AS takes_back,
       sum(CASE WHEN cents < 0 THEN cents ELSE 0 END) AS taken_back
FROM (SELECT b.decided_on AS day, p.dealer, p.campaign, p.paid_cents AS cents
      FROM batches_now AS b CROSS JOIN payments_by_engine AS p ON p.row BETWEEN b.first_row AND b.last_row
      WHERE b.decided_on BETWEEN :since AND :until
      UNION ALL
      SELECT paid_on, dealer, campaign, paid_cents FROM payments_by_people WHERE paid_on BETWEEN :since AND :until
      UNION ALL
      SELECT paid_on, dealer, campaign, paid_cents FROM payments_beyond_claims WHERE paid_on BETWEEN :since AND :until)
WHERE (:dealer IS NULL OR dealer = :dealer) AND (:campaign IS NULL OR campaign = :campaign)
GROUP BY 1, 2

-- section: months
-- title: By month
-- column: month text; year and month of the decision
-- column: payments integer; times that money was paid
-- column: paid money; money paid
-- column: taken_back money; money taken back: by reversals, and by corrections that came to less
-- column: net money; both together
-- chart: bar x=month y=paid,taken_back
SELECT month, sum(payments) AS payments, sum(paid) AS paid, sum(taken_back) AS taken_back, sum(paid + taken_back) AS net
FROM moved GROUP BY month ORDER BY month

-- section: dealers
-- title: By dealer
-- column: dealer text; dealer code
-- column: name text; name of the dealer
-- column: payments integer; times that money was paid
-- column: paid money; money paid
-- column: takes_back integer "Times taken back"; times that money was taken back
-- column: taken_back money; money taken back
-- column: net money; both together
SELECT m.dealer, (SELECT name FROM dealers_now AS d WHERE d.dealer = m.dealer ORDER BY valid_from DESC LIMIT 1) AS name,
       sum(payments) AS payments, sum(paid) AS paid, sum(takes_back) AS takes_back, sum(taken_back) AS taken_back,
       sum(paid + taken_back) AS net
FROM moved AS m GROUP BY m.dealer ORDER BY net DESC, m.dealer

-- section: taken_back
-- title: Taken back
-- column: claim claim; dealer and claim number; no claim: extrapolated after an audit
-- column: paid_on date "Day"; day of the decision
-- column: amount money; money that came back
-- column: action text; reverse, chargeback, or pay where a correction came to less
-- column: decided_by text "By"; who decided; empty: the engine
-- column: reason text; reason given
SELECT dealer || '/' || coalesce(claim, '') AS claim, paid_on, paid_cents AS amount, action, decided_by, reason
FROM (SELECT p.* FROM batches_now AS b CROSS JOIN payments_by_engine AS p ON p.row BETWEEN b.first_row AND b.last_row
      WHERE b.decided_on BETWEEN :since AND :until AND p.paid_cents < 0
      UNION ALL
      SELECT * FROM payments_by_people WHERE paid_on BETWEEN :since AND :until AND paid_cents < 0
      UNION ALL
      SELECT * FROM payments_beyond_claims WHERE paid_on BETWEEN :since AND :until AND paid_cents < 0)
WHERE (:dealer IS NULL OR dealer = :dealer) AND (:campaign IS NULL OR campaign = :campaign)
ORDER BY paid_on, dealer, claim
LIMIT 20000
