-- title: Open follow-up work
-- meaning: What was found at the repair and is still to be done, by age: no later claim that stands has supplied
--     the part.
-- parameter: dealer text =; only this dealer
-- parameter: campaign text =; only this campaign

-- table: open_work
-- column: dealer text; dealer code
-- column: claim text; claim number
-- column: campaign text; campaign number
-- column: vin text; VIN
-- column: followup text; what is to be done
-- column: part text; part that it takes
-- column: opened_on date; day of completion, or of receipt where none is stated
-- column: due_on date; day by which it is to be done
-- column: age_days integer; since it was opened
-- column: over_days integer; since it was due; below 0: it is not yet
SELECT dealer, claim, campaign, vin, followup, part, coalesce(completed_on, received_on) AS opened_on, due_on,
       CAST(julianday(:today) - julianday(coalesce(completed_on, received_on)) AS INTEGER) AS age_days,
       CAST(julianday(:today) - julianday(due_on) AS INTEGER) AS over_days
FROM followups_open
WHERE (:dealer IS NULL OR dealer = :dealer) AND (:campaign IS NULL OR campaign = :campaign)

-- section: ages
-- title: By age
-- column: age text; days since the work was completed
-- column: open_work integer "Open"; pieces of work
-- column: overdue integer; of these, past the day by which they were to be done
-- chart: bar x=age y=open_work,overdue
SELECT CASE WHEN age_days <= 30 THEN 'up to 30 days' WHEN age_days <= 60 THEN '31 to 60 days'
            WHEN age_days <= 90 THEN '61 to 90 days' ELSE 'over 90 days' END AS age,
       count(*) AS open_work, sum(over_days > 0) AS overdue
FROM open_work GROUP BY age ORDER BY min(age_days)

-- section: work
-- title: By work
-- column: campaign text; campaign number
-- column: followup text "Work"; what is to be done
-- column: part text; part that it takes
-- column: open_work integer "Open"; pieces of work
-- column: overdue integer; of these, past the day by which they were to be done
-- column: oldest date; when the oldest was opened
SELECT campaign, followup, part, count(*) AS open_work, coalesce(sum(over_days > 0), 0) AS overdue,
       min(opened_on) AS oldest
FROM open_work GROUP BY campaign, followup, part ORDER BY open_work DESC, campaign, followup

-- section: open_work_list
-- title: Every piece of open work
-- meaning: The longest overdue first.
-- column: claim claim; the claim that asks for it
-- column: vin text "VIN"; VIN
-- column: campaign text; campaign number
-- column: followup text "Work"; what is to be done
-- column: part text; part that it takes
-- column: opened_on date "Opened"; day of completion, or of receipt where none is stated
-- column: due_on date "Due"; day by which it is to be done
-- column: over_days integer "Days over"; since it was due; below 0: it is not yet
-- column: status text "Vehicle"; status of the vehicle in the register
SELECT o.dealer || '/' || o.claim AS claim, o.vin, o.campaign, o.followup, o.part, o.opened_on, o.due_on, o.over_days,
       v.status
FROM open_work AS o LEFT JOIN vehicles_now AS v ON v.vin = o.vin
ORDER BY o.over_days DESC, o.opened_on, o.dealer, o.claim
