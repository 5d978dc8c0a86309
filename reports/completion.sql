-- title: Completion
-- meaning: How far a campaign has come: vehicles remedied (repaired, or inspected and found not to need the repair,
--     on a claim that is paid and not taken back) against the vehicles in it, by week and stage, model year, engine and region.
-- parameter: campaign text; the campaign
-- parameter: until date = today; completed on this day or earlier

-- table: involved
-- column: stage text; stage of the campaign
-- column: stage_opens_on date; day the stage opens
-- column: model_line text; model line
-- column: model_year integer; model year
-- column: engine text; engine
-- column: away integer; 1: exported, stolen, scrapped or unreachable
-- column: vehicles integer; vehicles
SELECT coalesce(stage, '') AS stage, min(stage_opens_on) AS stage_opens_on, model_line, model_year, engine,
       status IN ('exported', 'stolen', 'scrapped', 'unreachable') AS away, sum(vehicles) AS vehicles
FROM population
WHERE campaign = :campaign
GROUP BY 1, 3, 4, 5, 6

-- table: done
-- column: week date; Monday of the week of completion
-- column: stage text; stage of the campaign
-- column: model_line text; model line
-- column: model_year integer; model year
-- column: engine text; engine
-- column: region text; region of the dealer
-- column: outcome text; repaired or inspected
-- column: away integer; 1: exported, stolen, scrapped or unreachable by now
-- column: vehicles integer; vehicles
--# The first claim of a vehicle that is paid and not taken back counts, as in the report to the regulator; and only
--# vehicles that are in the campaign.
WITH first_done AS (
    SELECT vin, min(coalesce(completed_on, received_on)) AS day, dealer, outcome
    FROM claims_standing AS c
    WHERE campaign = :campaign AND decision = 'pay'
      AND NOT EXISTS (SELECT 1 FROM payments_by_people AS p WHERE p.row = c.row AND p.action = 'reverse')
    GROUP BY vin)
SELECT date(f.day, '-' || ((CAST(strftime('%w', f.day) AS INTEGER) + 6) % 7) || ' days') AS week,
       stage_of(:campaign, f.vin) AS stage, v.model_line, v.model_year, v.engine,
       (SELECT region FROM dealers_now AS d WHERE d.dealer = f.dealer ORDER BY valid_from DESC LIMIT 1) AS region,
       f.outcome, v.status IN ('exported', 'stolen', 'scrapped', 'unreachable') AS away, count(*) AS vehicles
FROM first_done AS f JOIN vehicles_now AS v ON v.vin = f.vin
WHERE f.day <= :until AND stage_of(:campaign, f.vin) IS NOT NULL
GROUP BY 1, 2, 3, 4, 5, 6, 7, 8

-- section: rates
-- title: Rates
-- meaning: Two rates, as no law gives one formula: of all vehicles in the campaign, and of those that can be
--     reached. What is reported to a regulator is the office's to decide.
-- column: what text "Figure"; what is counted
-- column: vehicles integer; how many vehicles
-- column: share percent; of the vehicles in the campaign, or as the line says
WITH total AS (
    SELECT (SELECT sum(vehicles) FROM involved) AS involved, (SELECT coalesce(sum(vehicles), 0) FROM done) AS remedied,
           (SELECT coalesce(sum(vehicles), 0) FROM involved WHERE away = 1) -
           (SELECT coalesce(sum(vehicles), 0) FROM done WHERE away = 1) AS away)
SELECT 'in the campaign' AS what, involved AS vehicles, NULL AS share FROM total
UNION ALL SELECT 'repaired', (SELECT coalesce(sum(vehicles), 0) FROM done WHERE outcome = 'repaired'),
       share((SELECT coalesce(sum(vehicles), 0) FROM done WHERE outcome = 'repaired'), involved) FROM total
UNION ALL SELECT 'inspected, no repair needed',
       (SELECT coalesce(sum(vehicles), 0) FROM done WHERE outcome = 'inspected'),
       share((SELECT coalesce(sum(vehicles), 0) FROM done WHERE outcome = 'inspected'), involved) FROM total
UNION ALL SELECT 'remedied, of all', remedied, share(remedied, involved) FROM total
UNION ALL SELECT 'not remedied and out of reach', away, share(away, involved) FROM total
UNION ALL SELECT 'remedied, of those within reach', remedied, share(remedied, involved - away) FROM total

-- section: weeks
-- title: By week and stage
-- meaning: Remedied by the end of each week, in percent of the vehicles of the stage.
-- column: week date "Week from"; Monday of the week
-- column: stage text; stage of the campaign; empty: none
-- column: vehicles integer "In the week"; vehicles remedied in the week
-- column: so_far integer "So far"; vehicles remedied up to its end
-- column: share percent "Share so far"; of the vehicles of the stage
-- chart: line x=week y=share series=stage
WITH RECURSIVE week(day) AS (
    SELECT min(week) FROM done
    UNION ALL SELECT date(day, '+7 days') FROM week WHERE day < (SELECT max(week) FROM done)),
stage AS (SELECT stage, sum(vehicles) AS vehicles FROM involved GROUP BY stage),
weekly AS (SELECT week, stage, sum(vehicles) AS vehicles FROM done GROUP BY week, stage)
SELECT w.day AS week, s.stage, coalesce(n.vehicles, 0) AS vehicles,
       coalesce(sum(n.vehicles) OVER (PARTITION BY s.stage ORDER BY w.day), 0) AS so_far,
       share(coalesce(sum(n.vehicles) OVER (PARTITION BY s.stage ORDER BY w.day), 0), s.vehicles) AS share
FROM week AS w CROSS JOIN stage AS s LEFT JOIN weekly AS n ON n.week = w.day AND n.stage = s.stage
WHERE w.day IS NOT NULL
ORDER BY w.day, s.stage

-- section: stages
-- title: By stage
-- column: stage text; stage of the campaign; empty: none
-- column: opens_on date "Opens"; day the stage opens
-- column: vehicles integer "In the campaign"; vehicles
-- column: remedied integer; vehicles remedied
-- column: share percent; remedied of all
SELECT i.stage, min(i.stage_opens_on) AS opens_on, sum(i.vehicles) AS vehicles,
       (SELECT coalesce(sum(vehicles), 0) FROM done AS d WHERE d.stage = i.stage) AS remedied,
       share((SELECT coalesce(sum(vehicles), 0) FROM done AS d WHERE d.stage = i.stage), sum(i.vehicles)) AS share
FROM involved AS i GROUP BY i.stage ORDER BY opens_on, i.stage

-- section: model_years
-- title: By model year
-- column: model_line text; model line
-- column: model_year integer; model year
-- column: vehicles integer "In the campaign"; vehicles
-- column: remedied integer; vehicles remedied
-- column: share percent; remedied of all
SELECT i.model_line, i.model_year, sum(i.vehicles) AS vehicles,
       (SELECT coalesce(sum(vehicles), 0) FROM done AS d
        WHERE d.model_line = i.model_line AND d.model_year IS i.model_year) AS remedied,
       share((SELECT coalesce(sum(vehicles), 0) FROM done AS d
              WHERE d.model_line = i.model_line AND d.model_year IS i.model_year), sum(i.vehicles)) AS share
FROM involved AS i GROUP BY i.model_line, i.model_year ORDER BY i.model_line, i.model_year

-- section: engines
-- title: By engine
-- column: engine text; engine
-- column: vehicles integer "In the campaign"; vehicles
-- column: remedied integer; vehicles remedied
-- column: share percent; remedied of all
-- chart: bar x=engine y=vehicles,remedied
SELECT i.engine, sum(i.vehicles) AS vehicles,
       (SELECT coalesce(sum(vehicles), 0) FROM done AS d WHERE d.engine = i.engine) AS remedied,
       share((SELECT coalesce(sum(vehicles), 0) FROM done AS d WHERE d.engine = i.engine), sum(i.vehicles)) AS share
FROM involved AS i GROUP BY i.engine ORDER BY i.engine

-- section: regions
-- title: By region
-- meaning: The region is the dealer's who did the work; where vehicles are that nobody has brought yet is not known
--     here.
-- column: region text; region of the dealer (ISO 3166-2)
-- column: repaired integer; vehicles repaired
-- column: inspected integer; vehicles inspected and found not to need the repair
-- column: share percent; of all vehicles remedied
-- chart: stacked x=region y=repaired,inspected
SELECT region, sum(CASE outcome WHEN 'repaired' THEN vehicles ELSE 0 END) AS repaired,
       sum(CASE outcome WHEN 'inspected' THEN vehicles ELSE 0 END) AS inspected,
       share(sum(vehicles), (SELECT sum(vehicles) FROM done)) AS share
FROM done GROUP BY region ORDER BY sum(vehicles) DESC, region
