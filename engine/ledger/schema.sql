-- schema.sql - the office file. Compiled into the program and run once, when an office file is made.
--
-- Nothing that is recorded is ever edited: a change is a new row, and triggers refuse UPDATE and DELETE. What is
-- current is a view. Derived tables, which may be written anew from the records at any time, say so.
--
-- Days are day numbers (0 is 1970-01-01), money is in cents, other numbers are in millionths; the columns' names say
-- which. The views show dates as ISO text and numbers as people write them.

-- ---- 1. Loads of office data ----

-- One row a load; its number orders everything that was ever loaded, so that `as of load N` names one state.
CREATE TABLE loads (
    load INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('vehicles', 'dealers', 'shipments', 'approvals', 'notices')),
    file_name TEXT NOT NULL,
    digest BLOB NOT NULL CHECK (length(digest) = 32),    -- BLAKE2b-256 of the file's bytes
    rows INTEGER NOT NULL,                               -- in the file, without the header
    new_keys INTEGER NOT NULL,                           -- first versions in this load
    changed_keys INTEGER NOT NULL,                       -- later versions in this load
    loaded_on INTEGER NOT NULL
) STRICT;

-- What many vehicles have in common. A profile never changes; a vehicle that changes refers to another one.
CREATE TABLE vehicle_profiles (
    profile INTEGER PRIMARY KEY,
    model_line TEXT NOT NULL,
    model_year INTEGER,
    engine TEXT NOT NULL,
    transmission TEXT NOT NULL,
    plant TEXT NOT NULL,
    options TEXT NOT NULL,
    status TEXT NOT NULL,
    status_on INTEGER
) STRICT;

CREATE TABLE vehicle_versions (
    vin TEXT NOT NULL,
    load INTEGER NOT NULL,
    profile INTEGER NOT NULL,
    built_on INTEGER,
    PRIMARY KEY (vin, load)
) STRICT, WITHOUT ROWID;

-- valid_from is -2147483648 where the file has none: always.
CREATE TABLE dealer_versions (
    dealer TEXT NOT NULL,
    valid_from INTEGER NOT NULL,
    load INTEGER NOT NULL,
    name TEXT,
    region TEXT,
    labor_rate_millionths INTEGER NOT NULL,
    parts_markup_millionths INTEGER NOT NULL,            -- of a percent
    active_from INTEGER,
    active_to INTEGER,
    PRIMARY KEY (dealer, valid_from, load)
) STRICT, WITHOUT ROWID;

CREATE TABLE shipment_versions (
    shipment TEXT NOT NULL,
    load INTEGER NOT NULL,
    dealer TEXT NOT NULL,
    part TEXT NOT NULL,                                  -- as written
    part_key TEXT NOT NULL,                              -- as it compares
    quantity_millionths INTEGER NOT NULL,                -- below 0: a return
    shipped_on INTEGER,
    PRIMARY KEY (shipment, load)
) STRICT, WITHOUT ROWID;

CREATE INDEX shipment_versions_of_dealer ON shipment_versions (dealer);

CREATE TABLE approval_versions (
    approval TEXT NOT NULL,
    load INTEGER NOT NULL,
    dealer TEXT,
    campaign TEXT,
    vin TEXT,
    covers TEXT,
    limit_cents INTEGER,
    valid_to INTEGER,
    reason TEXT,
    PRIMARY KEY (approval, load)
) STRICT, WITHOUT ROWID;

-- What the office says of a campaign as of the end of a quarter, for its reports to the regulator. quarter is
-- 4 * year + 0 to 3. Numbers are cumulative; null: nothing was said.
CREATE TABLE notice_versions (
    campaign TEXT NOT NULL,
    quarter INTEGER NOT NULL,
    load INTEGER NOT NULL,
    involved INTEGER,                                    -- vehicles involved, which the explanation is about
    explanation TEXT,                                    -- why the number involved has changed
    notices_sent INTEGER,
    estimated INTEGER,                                   -- vehicles estimated to fail (emissions)
    awaiting_repair INTEGER,                             -- inspected, in need of repair, not yet repaired
    unreachable_other INTEGER,                           -- for reasons that the vehicle register does not know
    other_reason TEXT,                                   -- these reasons
    removed INTEGER,                                     -- taken out of the campaign and not remedied: bought back ...
    disqualified INTEGER,                                -- (emissions)
    submitted_on INTEGER,                                -- when the office filed the report
    PRIMARY KEY (campaign, quarter, load)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER loads_update BEFORE UPDATE ON loads
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; load a corrected file'); END;
CREATE TRIGGER loads_delete BEFORE DELETE ON loads
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; load a corrected file'); END;
CREATE TRIGGER vehicle_profiles_update BEFORE UPDATE ON vehicle_profiles
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; load a corrected file'); END;
CREATE TRIGGER vehicle_profiles_delete BEFORE DELETE ON vehicle_profiles
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; load a corrected file'); END;
CREATE TRIGGER vehicle_versions_update BEFORE UPDATE ON vehicle_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; load a corrected file'); END;
CREATE TRIGGER vehicle_versions_delete BEFORE DELETE ON vehicle_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; load a corrected file'); END;
CREATE TRIGGER dealer_versions_update BEFORE UPDATE ON dealer_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; load a corrected file'); END;
CREATE TRIGGER dealer_versions_delete BEFORE DELETE ON dealer_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; load a corrected file'); END;
CREATE TRIGGER shipment_versions_update BEFORE UPDATE ON shipment_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; load a corrected file'); END;
CREATE TRIGGER shipment_versions_delete BEFORE DELETE ON shipment_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; load a corrected file'); END;
CREATE TRIGGER approval_versions_update BEFORE UPDATE ON approval_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; load a corrected file'); END;
CREATE TRIGGER approval_versions_delete BEFORE DELETE ON approval_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; load a corrected file'); END;
CREATE TRIGGER notice_versions_update BEFORE UPDATE ON notice_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; load a corrected file'); END;
CREATE TRIGGER notice_versions_delete BEFORE DELETE ON notice_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; load a corrected file'); END;

-- ---- 2. The index of vehicles (derived from vehicle_versions and vehicle_profiles) ----

-- The current vehicles packed for look-up, by register/vehicle_pack.h. With 2^bits buckets, bucket 2^bits + number
-- holds those of that number; a bucket that is not there is empty. Ids never meet those of another size.
CREATE TABLE vehicle_buckets (
    bucket INTEGER PRIMARY KEY,
    vehicles BLOB NOT NULL
) STRICT;

CREATE TABLE vehicle_index (
    only_row INTEGER PRIMARY KEY CHECK (only_row = 1),
    bits INTEGER NOT NULL CHECK (bits BETWEEN 0 AND 31),
    vehicles INTEGER NOT NULL
) STRICT;

INSERT INTO vehicle_index VALUES (1, 0, 0);

-- ---- 3. Office data as it stands now, for people ----

CREATE VIEW vehicles_now AS
SELECT v.vin, p.model_line, p.model_year, p.engine, p.transmission,
       date(v.built_on * 86400, 'unixepoch') AS built_on,
       p.plant, p.options, p.status,
       date(p.status_on * 86400, 'unixepoch') AS status_on,
       v.load
FROM vehicle_versions AS v JOIN vehicle_profiles AS p ON p.profile = v.profile
WHERE v.load = (SELECT max(load) FROM vehicle_versions WHERE vin = v.vin);

CREATE VIEW dealers_now AS
SELECT d.dealer, d.name, d.region,
       rtrim(rtrim(printf('%d.%06d', d.labor_rate_millionths / 1000000, d.labor_rate_millionths % 1000000),
                   '0'), '.') AS labor_rate,
       rtrim(rtrim(printf('%d.%06d', d.parts_markup_millionths / 1000000, d.parts_markup_millionths % 1000000),
                   '0'), '.') AS parts_markup,
       date(d.active_from * 86400, 'unixepoch') AS active_from,
       date(d.active_to * 86400, 'unixepoch') AS active_to,
       date(nullif(d.valid_from, -2147483648) * 86400, 'unixepoch') AS valid_from,
       d.load
FROM dealer_versions AS d
WHERE d.load = (SELECT max(load) FROM dealer_versions WHERE dealer = d.dealer AND valid_from = d.valid_from);

CREATE VIEW shipments_now AS
SELECT s.shipment, s.dealer, s.part,
       CASE WHEN s.quantity_millionths < 0 THEN '-' ELSE '' END ||
       rtrim(rtrim(printf('%d.%06d', abs(s.quantity_millionths) / 1000000, abs(s.quantity_millionths) % 1000000),
                   '0'), '.') AS quantity,
       date(s.shipped_on * 86400, 'unixepoch') AS shipped_on,
       s.load
FROM shipment_versions AS s
WHERE s.load = (SELECT max(load) FROM shipment_versions WHERE shipment = s.shipment);

CREATE VIEW approvals_now AS
SELECT a.approval, a.dealer, a.campaign, a.vin, a.covers,
       CASE WHEN a.limit_cents IS NOT NULL
            THEN printf('%d.%02d', a.limit_cents / 100, a.limit_cents % 100) END AS "limit",
       date(a.valid_to * 86400, 'unixepoch') AS valid_to,
       a.reason, a.load
FROM approval_versions AS a
WHERE a.load = (SELECT max(load) FROM approval_versions WHERE approval = a.approval);

CREATE VIEW notices_now AS
SELECT n.campaign, printf('%04d-Q%d', n.quarter / 4, n.quarter % 4 + 1) AS quarter,
       n.involved, n.explanation, n.notices_sent, n.estimated, n.awaiting_repair, n.unreachable_other, n.other_reason,
       n.removed, n.disqualified, date(n.submitted_on * 86400, 'unixepoch') AS submitted_on, n.load
FROM notice_versions AS n
WHERE n.load = (SELECT max(load) FROM notice_versions WHERE campaign = n.campaign AND quarter = n.quarter);
