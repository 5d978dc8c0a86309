-- schema_claims.sql - the part of the office file that holds what was decided and why. Run behind schema.sql.
--
-- Records are appended and never edited or deleted: triggers refuse it. A correction is a new record that names the
-- old one. Every record is covered by the chain (section 1), so that a change by other means is found by `verify`.
-- Tables that are derived from records say so; they may be written anew from them at any time.

-- ---- 1. The chain ----

-- Everything that was recorded, in order. record_digest is the BLAKE2b-256 of the canonical form of what was
-- recorded (ledger/records.h, ledger/audit_records.h); chain_digest is that of the entry and of the chain_digest before it.
CREATE TABLE chain (
    entry INTEGER PRIMARY KEY,                           -- 1, 2, 3 ... without a gap
    kind TEXT NOT NULL,                                  -- load, batch, decision, outliers, sample, judgement, chargeback
    number INTEGER NOT NULL,                             -- loads.load, batches.batch, office_decisions.number,
                                                         -- outlier_runs.run, samples.sample,
                                                         -- judgement_files.recording, chargebacks.chargeback
    record_digest BLOB NOT NULL CHECK (length(record_digest) = 32),
    chain_digest BLOB NOT NULL CHECK (length(chain_digest) = 32),
    UNIQUE (kind, number)
) STRICT;

-- ---- 2. The rules that decided ----

-- Every file of every rules folder that decided a batch, each text once.
CREATE TABLE rules_files (
    file INTEGER PRIMARY KEY,
    digest BLOB NOT NULL UNIQUE CHECK (length(digest) = 32),    -- BLAKE2b-256 of bytes
    bytes BLOB NOT NULL
) STRICT;

CREATE TABLE rules_versions (
    rules INTEGER PRIMARY KEY,
    digest BLOB NOT NULL UNIQUE CHECK (length(digest) = 32)     -- BLAKE2b-256 over paths and digests of its files
) STRICT;

CREATE TABLE rules_contents (
    rules INTEGER NOT NULL,
    path TEXT NOT NULL,                                  -- checks/claim/dates.csv
    file INTEGER NOT NULL,
    PRIMARY KEY (rules, path)
) STRICT, WITHOUT ROWID;

-- ---- 3. Batches and their claims ----

-- One row a posted file.
CREATE TABLE batches (
    batch INTEGER PRIMARY KEY,
    file_name TEXT NOT NULL,
    file_bytes INTEGER NOT NULL,
    file_digest BLOB NOT NULL UNIQUE CHECK (length(file_digest) = 32),    -- BLAKE2b-256 of the file
    first_row INTEGER NOT NULL,                          -- of claim_rows
    row_count INTEGER NOT NULL,
    unreadable_count INTEGER NOT NULL,
    repeated_count INTEGER NOT NULL,
    received_on INTEGER NOT NULL,
    today INTEGER NOT NULL,                              -- the day it was decided on
    posted_at TEXT NOT NULL,                             -- by the machine's clock, UTC
    rules INTEGER NOT NULL,
    load INTEGER NOT NULL                                -- the last load of office data that it was decided with
) STRICT;

-- One row a claim row that could be read, in the order of recording, decided by the engine. Its whole content is in
-- row_blocks.
CREATE TABLE claim_rows (
    row INTEGER PRIMARY KEY,
    batch INTEGER NOT NULL,
    line INTEGER NOT NULL,                               -- of the file
    dealer TEXT NOT NULL,
    claim TEXT NOT NULL,
    revision INTEGER NOT NULL,
    campaign TEXT NOT NULL,
    vin TEXT NOT NULL,
    outcome TEXT NOT NULL,
    completed_on INTEGER,
    decision TEXT NOT NULL,                              -- pay, hold, return, refuse: the engine's
    asked_cents INTEGER NOT NULL,
    payable_cents INTEGER NOT NULL,
    due_cents INTEGER NOT NULL,
    replaces INTEGER                                     -- the row that counted for this claim until then; null: there
                                                         -- was none; 0: a revision as high was recorded, and this row
                                                         -- does not count
) STRICT;

-- The findings of a row, numbered from 1 in the order of the findings file.
CREATE TABLE findings (
    row INTEGER NOT NULL,
    number INTEGER NOT NULL,
    effect TEXT NOT NULL,
    finding TEXT NOT NULL,
    item TEXT NOT NULL,                                  -- empty: about the claim
    message TEXT NOT NULL,
    rule TEXT NOT NULL,                                  -- file:row name
    PRIMARY KEY (row, number)
) STRICT, WITHOUT ROWID;

-- The contents of up to 128 consecutive rows. For each: its digest (32 bytes), the number of bytes that follow (4,
-- little-endian), the 23 cells of the claim file in their documented order, each ended by a NUL.
CREATE TABLE row_blocks (
    first_row INTEGER PRIMARY KEY,
    records BLOB NOT NULL
) STRICT;

-- Rows that could not be read. They are no claims, and may be sent again.
CREATE TABLE unreadable_rows (
    batch INTEGER NOT NULL,
    line INTEGER NOT NULL,
    dealer TEXT NOT NULL,                                -- empty where it could not be read
    claim TEXT NOT NULL,
    message TEXT NOT NULL,
    PRIMARY KEY (batch, line)
) STRICT, WITHOUT ROWID;

-- Rows that say again what a recorded row of the same revision says. They change nothing.
CREATE TABLE repeated_rows (
    batch INTEGER NOT NULL,
    line INTEGER NOT NULL,
    row INTEGER NOT NULL,                                -- the one that is recorded
    PRIMARY KEY (batch, line)
) STRICT, WITHOUT ROWID;

-- Work that the campaign's followups.csv asks for on claims that were pay or hold when posted.
CREATE TABLE followups (
    row INTEGER NOT NULL,
    number INTEGER NOT NULL,                             -- from 1 within the row
    vin TEXT NOT NULL,
    followup TEXT NOT NULL,
    part TEXT NOT NULL,                                  -- as the rules write it
    part_key TEXT NOT NULL,                              -- as it compares
    due_on INTEGER,
    PRIMARY KEY (row, number)
) STRICT, WITHOUT ROWID;

CREATE INDEX followups_of_vehicle ON followups (vin);

-- A later row on the vehicle that supplies the part of a piece of follow-up work. It closes the work as long as that row
-- is decided pay or hold.
CREATE TABLE followup_parts (
    row INTEGER NOT NULL,                                -- of followups
    number INTEGER NOT NULL,
    supplied_by INTEGER NOT NULL,                        -- of claim_rows
    PRIMARY KEY (row, number, supplied_by)
) STRICT, WITHOUT ROWID;

-- ---- 4. What people decided ----

-- pay, return, refuse: over the engine's hold. reverse: takes back what was paid. chargeback: takes back, after an audit,
-- what was paid too much, or gives it back (schema_audit.sql has the rest of it).
CREATE TABLE office_decisions (
    number INTEGER PRIMARY KEY,
    row INTEGER NOT NULL,
    action TEXT NOT NULL,                                -- pay, return, refuse, reverse or chargeback
    decided_by TEXT NOT NULL,
    reason TEXT NOT NULL,
    decided_on INTEGER NOT NULL,
    recorded_at TEXT NOT NULL,                           -- by the machine's clock, UTC
    payable_cents INTEGER NOT NULL,                      -- of the row from then on
    due_cents INTEGER NOT NULL                           -- money that moves by it; below 0: taken back
) STRICT;

CREATE INDEX office_decisions_of_row ON office_decisions (row);

-- Comparisons of dealers that were kept, so that a dealer that stood out can be told why: one row a run.
CREATE TABLE outlier_runs (
    run INTEGER PRIMARY KEY,
    recorded_on INTEGER NOT NULL,
    recorded_at TEXT NOT NULL,                           -- by the machine's clock, UTC
    recorded_by TEXT NOT NULL,
    since INTEGER,                                       -- claims received from this day; null: open
    until INTEGER,
    campaign TEXT NOT NULL,                              -- empty: all
    last_row INTEGER NOT NULL,                           -- claims and decisions up to and including these counted
    last_decision INTEGER NOT NULL
) STRICT;

-- What was compared in a run, numbered from 1 in the order of rules/outliers.csv.
CREATE TABLE outlier_measures (
    run INTEGER NOT NULL,
    number INTEGER NOT NULL,
    measure TEXT NOT NULL,
    title TEXT NOT NULL,
    definition TEXT NOT NULL,                            -- the row of the rules
    all_counted INTEGER NOT NULL,                        -- claims of all dealers that count
    all_of INTEGER NOT NULL,                             -- of so many
    dealers INTEGER NOT NULL,
    near_millionths INTEGER NOT NULL,                    -- probabilities of the limits
    far_millionths INTEGER NOT NULL,
    phi_millionths INTEGER NOT NULL,                     -- how much dealers spread; 1000000: as chance makes them
    PRIMARY KEY (run, number)
) STRICT, WITHOUT ROWID;

-- Who stood out, numbered from 1 within the run.
CREATE TABLE outlier_flags (
    run INTEGER NOT NULL,
    number INTEGER NOT NULL,
    measure_number INTEGER NOT NULL,                     -- of outlier_measures
    dealer TEXT NOT NULL,
    side TEXT NOT NULL,                                  -- above the upper limit, or below the lower
    counted INTEGER NOT NULL,
    of INTEGER NOT NULL,
    rate_millionths INTEGER NOT NULL,
    limit_millionths INTEGER NOT NULL,
    z_millionths INTEGER NOT NULL,
    basis TEXT NOT NULL,                                 -- as the dealer is told
    PRIMARY KEY (run, number)
) STRICT, WITHOUT ROWID;

-- ---- 5. Derived from the records: what finds them ----

-- What finds rows and what stands, packed by ledger/packed.h. With 2^bits buckets, bucket 2^bits + number holds those of
-- that number; a bucket that is not there is empty. Ids never meet those of another size.

-- Rows by claim, by dealer, by vehicle and by repair order.
CREATE TABLE row_buckets (
    bucket INTEGER PRIMARY KEY,
    entries BLOB NOT NULL
) STRICT;

-- What stands for a dealer: hours by technician and day, quantities by part and day.
CREATE TABLE tally_buckets (
    bucket INTEGER PRIMARY KEY,
    entries BLOB NOT NULL
) STRICT;

-- The same of what was recorded lately, and is not among them yet.
CREATE TABLE recent_row_buckets (
    bucket INTEGER PRIMARY KEY,
    entries BLOB NOT NULL
) STRICT;

CREATE TABLE recent_tally_buckets (
    bucket INTEGER PRIMARY KEY,
    entries BLOB NOT NULL
) STRICT;

CREATE TABLE bucket_sizes (
    name TEXT PRIMARY KEY CHECK (name IN ('row_buckets', 'tally_buckets', 'recent_row_buckets', 'recent_tally_buckets')),
    bits INTEGER NOT NULL CHECK (bits BETWEEN 0 AND 31),
    entries INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Rows that a later revision took the place of.
CREATE TABLE replaced_rows (
    row INTEGER PRIMARY KEY,
    replaced_by INTEGER NOT NULL
) STRICT;

-- Rows that wait for a person: held, highest of their claim, and not decided since. So that a morning's list need not
-- look through what was ever held.
CREATE TABLE waiting_rows (
    row INTEGER PRIMARY KEY
) STRICT;

CREATE TRIGGER replaced_rows_waiting AFTER INSERT ON replaced_rows
BEGIN DELETE FROM waiting_rows WHERE row = new.row; END;
CREATE TRIGGER office_decisions_waiting AFTER INSERT ON office_decisions WHEN new.action NOT IN ('reverse', 'chargeback')
BEGIN DELETE FROM waiting_rows WHERE row = new.row; END;

-- ---- 6. Views: what counts now ----

-- What is decided on each row by now: the engine's decision, or a person's since.
CREATE VIEW rows_decided AS
SELECT r.row, r.batch, r.line, r.dealer, r.claim, r.revision, r.campaign, r.vin, r.outcome,
       date(r.completed_on * 86400, 'unixepoch') AS completed_on,
       date(b.received_on * 86400, 'unixepoch') AS received_on,
       coalesce(d.action, r.decision) AS decision,
       r.decision AS engine_decision,                     -- what the engine decided when it was posted
       d.decided_by,                                      -- null: nobody decided over it
       date(coalesce(d.decided_on, b.today) * 86400, 'unixepoch') AS decided_on,
       r.asked_cents,
       coalesce(d.payable_cents, r.payable_cents) AS payable_cents,    -- for hold: what would be paid
       r.replaces
FROM claim_rows AS r JOIN batches AS b ON b.batch = r.batch
LEFT JOIN office_decisions AS d
       ON d.number = (SELECT max(number) FROM office_decisions WHERE row = r.row AND action NOT IN ('reverse', 'chargeback'));

-- One row a claim: its highest revision, with what is decided on it by now.
CREATE VIEW claims_now AS
SELECT * FROM rows_decided AS r
WHERE r.replaces IS NOT 0 AND NOT EXISTS (SELECT 1 FROM replaced_rows WHERE row = r.row);

-- One row a claim that stands: its highest revision that is decided pay or hold.
CREATE VIEW claims_standing AS
SELECT * FROM rows_decided AS r
WHERE r.replaces IS NOT 0 AND r.decision IN ('pay', 'hold')
  AND (NOT EXISTS (SELECT 1 FROM replaced_rows WHERE row = r.row)
       OR NOT EXISTS (WITH RECURSIVE later(row) AS (
                          SELECT replaced_by FROM replaced_rows WHERE row = r.row
                          UNION
                          SELECT p.replaced_by FROM later JOIN replaced_rows AS p ON p.row = later.row)
                      SELECT 1 FROM later JOIN rows_decided AS q ON q.row = later.row
                      WHERE q.decision IN ('pay', 'hold')));

-- The findings on the claims of claims_now, one row a finding.
CREATE VIEW findings_now AS
SELECT c.row, c.batch, c.line, c.dealer, c.claim, c.revision, c.campaign, c.vin, c.received_on, c.decision,
       f.number, f.effect, f.finding, f.item, f.message, f.rule
FROM claims_now AS c JOIN findings AS f ON f.row = c.row;

-- Money that the engine's pay moved, one row a claim row; below 0 where a correction came to less.
CREATE VIEW payments_by_engine AS
SELECT r.row, r.dealer, r.claim, r.revision, r.campaign, r.vin,
       date(b.today * 86400, 'unixepoch') AS paid_on, r.due_cents AS paid_cents,
       'pay' AS action, NULL AS decided_by, NULL AS reason
FROM claim_rows AS r JOIN batches AS b ON b.batch = r.batch
WHERE r.decision = 'pay' AND r.replaces IS NOT 0 AND r.due_cents <> 0;

-- Money that a person's decision moved: by pay, or back by a reversal (below 0).
CREATE VIEW payments_by_people AS
SELECT r.row, r.dealer, r.claim, r.revision, r.campaign, r.vin,
       date(d.decided_on * 86400, 'unixepoch') AS paid_on, d.due_cents AS paid_cents, d.action, d.decided_by, d.reason
FROM office_decisions AS d JOIN claim_rows AS r ON r.row = d.row
WHERE d.due_cents <> 0;

-- The view of all payments is in schema_audit.sql, for it knows what is charged back beyond single claims.

-- Follow-up work on standing claims that no later standing claim supplied the part for.
CREATE VIEW followups_open AS
SELECT f.row, f.number, c.dealer, c.claim, c.revision, c.campaign, f.vin, f.followup, f.part,
       c.completed_on, c.received_on, date(f.due_on * 86400, 'unixepoch') AS due_on
FROM followups AS f JOIN claims_standing AS c ON c.row = f.row
WHERE NOT EXISTS (SELECT 1 FROM followup_parts AS p JOIN claims_standing AS s ON s.row = p.supplied_by
                  WHERE p.row = f.row AND p.number = f.number);

-- Posted files. The rows of one are first_row to last_row of rows_decided (last_row is below first_row where it has
-- none), so that a night is read without looking at any other.
CREATE VIEW batches_now AS
SELECT b.batch, b.file_name, date(b.received_on * 86400, 'unixepoch') AS received_on,
       date(b.today * 86400, 'unixepoch') AS decided_on, b.posted_at,
       b.first_row, b.first_row + b.row_count - 1 AS last_row, b.row_count AS claims,
       b.unreadable_count AS unreadable, b.repeated_count AS repeated, b.rules, b.load
FROM batches AS b;

-- The findings on every row, also on those that a later revision took the place of.
CREATE VIEW findings_made AS
SELECT f.row, f.number, f.effect, f.finding, f.item, f.message, f.rule FROM findings AS f;

-- Rows that could not be read.
CREATE VIEW rows_unreadable AS
SELECT u.batch, u.line, u.dealer, u.claim, u.message FROM unreadable_rows AS u;

-- Claims that wait for a person: held, and not decided since. The region is that of the dealer's version that counted
-- for the claim. CROSS JOIN: the few that wait are looked up, never the other way about.
CREATE VIEW claims_waiting AS
SELECT r.row, r.batch, r.line, r.dealer, r.claim, r.revision, r.campaign, r.vin,
       (SELECT d.region FROM dealer_versions AS d
        WHERE d.dealer = r.dealer AND d.valid_from <= coalesce(r.completed_on, 2147483647)
        ORDER BY d.valid_from DESC, d.load DESC LIMIT 1) AS region,
       date(r.completed_on * 86400, 'unixepoch') AS completed_on,
       date(b.received_on * 86400, 'unixepoch') AS received_on,
       r.asked_cents, r.payable_cents
FROM waiting_rows AS w CROSS JOIN claim_rows AS r ON r.row = w.row CROSS JOIN batches AS b ON b.batch = r.batch;

-- Who stood out in the comparisons that were kept, one row a flag, with the words in which the dealer is told.
CREATE VIEW outliers_recorded AS
SELECT f.run, f.number, date(r.recorded_on * 86400, 'unixepoch') AS recorded_on, r.recorded_by,
       date(r.since * 86400, 'unixepoch') AS since, date(r.until * 86400, 'unixepoch') AS until, r.campaign,
       f.dealer, m.measure, m.title, f.side, f.counted, f.of, m.all_counted, m.all_of,
       f.rate_millionths, f.limit_millionths, m.phi_millionths, f.basis
FROM outlier_flags AS f JOIN outlier_runs AS r ON r.run = f.run
JOIN outlier_measures AS m ON m.run = f.run AND m.number = f.measure_number;

-- ---- 7. Nothing recorded is edited or deleted ----

CREATE TRIGGER chain_update BEFORE UPDATE ON chain
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER chain_delete BEFORE DELETE ON chain
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER rules_files_update BEFORE UPDATE ON rules_files
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER rules_files_delete BEFORE DELETE ON rules_files
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER rules_versions_update BEFORE UPDATE ON rules_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER rules_versions_delete BEFORE DELETE ON rules_versions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER rules_contents_update BEFORE UPDATE ON rules_contents
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER rules_contents_delete BEFORE DELETE ON rules_contents
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER batches_update BEFORE UPDATE ON batches
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER batches_delete BEFORE DELETE ON batches
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER claim_rows_update BEFORE UPDATE ON claim_rows
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER claim_rows_delete BEFORE DELETE ON claim_rows
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER findings_update BEFORE UPDATE ON findings
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER findings_delete BEFORE DELETE ON findings
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER row_blocks_update BEFORE UPDATE ON row_blocks
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER row_blocks_delete BEFORE DELETE ON row_blocks
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER unreadable_rows_update BEFORE UPDATE ON unreadable_rows
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER unreadable_rows_delete BEFORE DELETE ON unreadable_rows
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER repeated_rows_update BEFORE UPDATE ON repeated_rows
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER repeated_rows_delete BEFORE DELETE ON repeated_rows
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER followups_update BEFORE UPDATE ON followups
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER followups_delete BEFORE DELETE ON followups
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER followup_parts_update BEFORE UPDATE ON followup_parts
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER followup_parts_delete BEFORE DELETE ON followup_parts
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER office_decisions_update BEFORE UPDATE ON office_decisions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER office_decisions_delete BEFORE DELETE ON office_decisions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER outlier_runs_update BEFORE UPDATE ON outlier_runs
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER outlier_runs_delete BEFORE DELETE ON outlier_runs
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER outlier_measures_update BEFORE UPDATE ON outlier_measures
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER outlier_measures_delete BEFORE DELETE ON outlier_measures
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER outlier_flags_update BEFORE UPDATE ON outlier_flags
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER outlier_flags_delete BEFORE DELETE ON outlier_flags
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
