-- title: Findings
-- meaning: What the checks found on the claims that the office received in a time: by month, by finding, by dealer
--     and by campaign. Each claim counts by its highest revision.
-- parameter: since date = today - 365; received on this day or later
-- parameter: until date = today; received on this day or earlier
-- parameter: dealer text =; only this dealer
-- parameter: campaign text =; only this campaign

-- table: found
-- column: month text; year and month of receipt
-- column: dealer text; dealer code
-- column: campaign text; campaign number
-- column: effect text; effect of the finding
-- column: finding text; name of the finding
-- column: claims integer; claims that have it
-- column: cut money; asked less payable of those that are pay or hold
--# A claim that has a finding on two items counts once.
SELECT substr(received_on, 1, 7) AS month, dealer, campaign, effect, finding, count(*) AS claims, sum(cut) AS cut
FROM (SELECT b.received_on, c.dealer, c.campaign, m.effect, m.finding,
             CASE WHEN c.decision IN ('pay', 'hold') THEN c.asked_cents - c.payable_cents ELSE 0 END AS cut
      FROM batches_now AS b CROSS JOIN findings_made AS m ON m.row BETWEEN b.first_row AND b.last_row
           CROSS JOIN claims_now AS c ON c.row = m.row
      WHERE b.received_on BETWEEN :since AND :until
        AND (:dealer IS NULL OR c.dealer = :dealer) AND (:campaign IS NULL OR c.campaign = :campaign)
        AND NOT EXISTS (SELECT 1 FROM findings_made AS e WHERE e.row = m.row AND e.number < m.number
                                                           AND e.effect = m.effect AND e.finding = m.finding))
GROUP BY 1, 2, 3, 4, 5

-- table: received
-- column: month text; year and month of receipt
-- column: dealer text; dealer code
-- column: campaign text; campaign number
-- column: claims integer; claims
-- column: flagged integer; claims with a finding that is no note
-- column: refused integer; claims that are refused
-- column: returned integer; claims that are returned
-- column: held integer; claims that are held
-- column: cut money; asked less payable of those that are pay or hold
SELECT substr(b.received_on, 1, 7) AS month, dealer, campaign, count(*) AS claims,
       sum(EXISTS (SELECT 1 FROM findings_made AS m WHERE m.row = c.row AND m.effect <> 'note')) AS flagged,
       sum(decision = 'refuse') AS refused, sum(decision = 'return') AS returned, sum(decision = 'hold') AS held,
       sum(CASE WHEN decision IN ('pay', 'hold') THEN asked_cents - payable_cents ELSE 0 END) AS cut
FROM batches_now AS b CROSS JOIN claims_now AS c ON c.row BETWEEN b.first_row AND b.last_row
WHERE b.received_on BETWEEN :since AND :until
  AND (:dealer IS NULL OR dealer = :dealer) AND (:campaign IS NULL OR campaign = :campaign)
GROUP BY 1, 2, 3

-- section: months
-- title: By month
-- meaning: Claims with a finding of each effect. A claim with several counts under each.
-- column: month text; year and month of receipt
-- column: effect text; refuse, return, hold, cut or note
-- column: findings integer; how often a finding of this effect was made on a claim
-- chart: stacked x=month y=findings series=effect
SELECT month, effect, sum(claims) AS findings FROM found
GROUP BY month, effect
ORDER BY month, instr('refuse return hold cut note', effect)

-- section: findings
-- title: By finding
-- column: effect text; refuse, return, hold, cut or note
-- column: finding text; name of the finding
-- column: claims integer; claims that have it
-- column: share percent; of all claims received
-- column: cut money; asked less payable of those of them that are pay or hold
-- chart: stacked x=finding y=claims series=effect
SELECT effect, finding, sum(f.claims) AS claims,
       share(sum(f.claims), (SELECT sum(claims) FROM received)) AS share, sum(cut) AS cut
FROM found AS f
GROUP BY effect, finding
ORDER BY claims DESC, effect, finding

-- section: dealers
-- title: By dealer
-- meaning: A dealer with few claims may stand out by chance.
-- column: dealer text; dealer code
-- column: name text; name of the dealer
-- column: claims integer; claims received
-- column: flagged integer; claims with a finding that is no note
-- column: share percent "Flagged share"; flagged of all
-- column: refused integer; claims that are refused
-- column: returned integer; claims that are returned
-- column: held integer; claims that are held
-- column: cut money; asked less payable of those that are pay or hold
SELECT r.dealer, (SELECT name FROM dealers_now WHERE dealer = r.dealer ORDER BY valid_from DESC LIMIT 1) AS name,
       sum(claims) AS claims, sum(flagged) AS flagged, share(sum(flagged), sum(claims)) AS share,
       sum(refused) AS refused, sum(returned) AS returned, sum(held) AS held, sum(cut) AS cut
FROM received AS r
GROUP BY r.dealer
ORDER BY share DESC, claims DESC, r.dealer

-- section: campaigns
-- title: By campaign
-- column: campaign text; campaign number, as stated
-- column: claims integer; claims received
-- column: flagged integer; claims with a finding that is no note
-- column: share percent "Flagged share"; flagged of all
-- column: refused integer; claims that are refused
-- column: returned integer; claims that are returned
-- column: held integer; claims that are held
-- column: cut money; asked less payable of those that are pay or hold
SELECT campaign, sum(claims) AS claims, sum(flagged) AS flagged, share(sum(flagged), sum(claims)) AS share,
       sum(refused) AS refused, sum(returned) AS returned, sum(held) AS held, sum(cut) AS cut
FROM received
GROUP BY campaign
ORDER BY claims DESC, campaign
