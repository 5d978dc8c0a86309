-- title: Kits
-- meaning: Repair kits that were shipped, that standing claims used, and that are left, by dealer and kit: who
--     claims more than was shipped, and whose kits lie idle.
-- parameter: idle_days integer = 60; kits lie idle where none was used or shipped for so many days
-- parameter: dealer text =; only this dealer

-- table: stock
-- column: dealer text; dealer code
-- column: part text; kit
-- column: shipped decimal; pieces shipped, less what came back
-- column: claimed decimal; pieces on standing claims
-- column: last_shipped_on date; day of the last shipment
-- column: last_claimed_on date; last day of completion of a standing claim with it
SELECT dealer, part, shipped_millionths AS shipped, claimed_millionths AS claimed, last_shipped_on, last_claimed_on
FROM dealer_parts
WHERE kit = 1 AND (:dealer IS NULL OR dealer = :dealer)

-- section: kits
-- title: By kit
-- column: kit text; part number of the kit
-- column: shipped decimal; pieces shipped to dealers, less what came back
-- column: claimed decimal; pieces on standing claims
-- column: left_over decimal "Left"; shipped less claimed
-- column: used percent "Used"; claimed of shipped
-- column: dealers integer; dealers that were sent some
-- chart: bar x=kit y=shipped,claimed,left_over
SELECT part AS kit, sum(shipped) AS shipped, sum(claimed) AS claimed, sum(shipped - claimed) AS left_over,
       share(sum(claimed), sum(shipped)) AS used, sum(shipped > 0) AS dealers
FROM stock GROUP BY part ORDER BY part

-- section: over
-- title: More claimed than shipped
-- meaning: A delivery may have come another way, or a shipment may not be loaded yet; ask before you judge.
-- column: dealer text; dealer code
-- column: name text; name of the dealer
-- column: kit text; part number of the kit
-- column: shipped decimal; pieces shipped, less what came back
-- column: claimed decimal; pieces on standing claims
-- column: over decimal; claimed less shipped
-- column: last_claimed_on date "Last used"; last day of completion of a standing claim with it
SELECT dealer, (SELECT name FROM dealers_now AS d WHERE d.dealer = s.dealer ORDER BY valid_from DESC LIMIT 1) AS name,
       part AS kit, shipped, claimed, claimed - shipped AS over, last_claimed_on
FROM stock AS s
WHERE claimed > shipped
ORDER BY over DESC, dealer, part

-- section: idle
-- title: Idle kits
-- meaning: Kits that are left and of which none was used or shipped for the days asked for; the most first.
-- column: dealer text; dealer code
-- column: name text; name of the dealer
-- column: kit text; part number of the kit
-- column: left_over decimal "Left"; shipped less claimed
-- column: last_shipped_on date "Last shipped"; day of the last shipment
-- column: last_claimed_on date "Last used"; last day of completion of a standing claim with it
-- column: idle_days integer "Days idle"; since the later of both
SELECT dealer, (SELECT name FROM dealers_now AS d WHERE d.dealer = s.dealer ORDER BY valid_from DESC LIMIT 1) AS name,
       part AS kit, shipped - claimed AS left_over, last_shipped_on, last_claimed_on,
       CAST(julianday(:today) - julianday(max(coalesce(last_shipped_on, last_claimed_on),
                                              coalesce(last_claimed_on, last_shipped_on))) AS INTEGER) AS idle_days
FROM stock AS s
WHERE shipped > claimed
  AND julianday(:today) - julianday(max(coalesce(last_shipped_on, last_claimed_on),
                                        coalesce(last_claimed_on, last_shipped_on))) >= :idle_days
ORDER BY left_over DESC, idle_days DESC, dealer, part

-- section: all_kits
-- title: Every dealer and kit
-- column: dealer text; dealer code
-- column: kit text; part number of the kit
-- column: shipped decimal; pieces shipped, less what came back
-- column: claimed decimal; pieces on standing claims
-- column: left_over decimal "Left"; shipped less claimed
-- column: last_shipped_on date "Last shipped"; day of the last shipment
-- column: last_claimed_on date "Last used"; last day of completion of a standing claim with it
SELECT dealer, part AS kit, shipped, claimed, shipped - claimed AS left_over, last_shipped_on, last_claimed_on
FROM stock ORDER BY dealer, part
