-- schema_audit.sql - the part of the office file that holds audits: samples, judgements, chargebacks. Run behind
-- schema_claims.sql, by the same rules: records are appended and never edited or deleted, each is an entry of the chain
-- (ledger/audit_records.h has their canonical forms), a correction is a new record.
--
-- Money is exact, in cents. What was estimated was rounded once, to a whole cent, in the dealer's favour.

-- ---- 1. Samples ----

-- One row a sample that was drawn. With frame, seed and generator the same claims can be drawn again for ever.
CREATE TABLE samples (
    sample INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    method TEXT NOT NULL,                                -- simple, stratified, money; picked: by hand, not at random
    strata_by TEXT NOT NULL,                             -- dealer, campaign, stratum (by money); empty: not stratified
    allocation TEXT NOT NULL,                            -- proportional, neyman; empty: not stratified
    bounds TEXT NOT NULL,                                -- upper ends of strata by money, 100.00;500.00
    filter_dealer TEXT NOT NULL,                         -- what the frame was picked by; empty: any
    filter_campaign TEXT NOT NULL,
    filter_vin TEXT NOT NULL,
    filter_finding TEXT NOT NULL,
    filter_effect TEXT NOT NULL,
    filter_since INTEGER,                                -- days of receipt, both inclusive; null: open
    filter_until INTEGER,
    because TEXT NOT NULL,                               -- why these claims were selected for an audit
    drawn_on INTEGER NOT NULL,                           -- the look-back is counted to this day
    recorded_at TEXT NOT NULL,                           -- by the machine's clock, UTC
    generator TEXT NOT NULL,                             -- audit/generator.h
    seed TEXT NOT NULL,
    size_asked INTEGER NOT NULL,
    interval_cents INTEGER,                              -- of a sample by money; null: another method
    frame_count INTEGER NOT NULL,                        -- claims that could be drawn
    frame_cents INTEGER NOT NULL,                        -- paid on them
    frame_digest BLOB NOT NULL CHECK (length(frame_digest) = 32),   -- BLAKE2b-256 over their keys, in order
    unpaid_count INTEGER NOT NULL,                       -- claims left out: nothing is paid on them any more,
    older_count INTEGER NOT NULL,                        -- paid longer ago than the region's audit look-back,
    older_cents INTEGER NOT NULL,
    covered_count INTEGER NOT NULL,                      -- an extrapolated chargeback has taken back for them already
    covered_cents INTEGER NOT NULL
) STRICT;

-- The look-back that was honoured, and what it left out, for each region that the dealers of the frame are in.
CREATE TABLE sample_regions (
    sample INTEGER NOT NULL,
    region TEXT NOT NULL,                                -- empty: the dealer has none
    audit_within_days INTEGER,                           -- null: no limit
    frame_count INTEGER NOT NULL,
    older_count INTEGER NOT NULL,
    older_cents INTEGER NOT NULL,
    PRIMARY KEY (sample, region)
) STRICT, WITHOUT ROWID;

-- A sample that is not stratified has one stratum; one by money has two: looked at for certain, and by interval.
CREATE TABLE sample_strata (
    sample INTEGER NOT NULL,
    stratum INTEGER NOT NULL,                            -- from 1
    name TEXT NOT NULL,
    frame_count INTEGER NOT NULL,
    frame_cents INTEGER NOT NULL,
    item_count INTEGER NOT NULL,                         -- drawn
    PRIMARY KEY (sample, stratum)
) STRICT, WITHOUT ROWID;

-- The frame: every claim that could be drawn.
CREATE TABLE sample_frame (
    sample INTEGER NOT NULL,
    row INTEGER NOT NULL,                                -- of claim_rows
    position INTEGER NOT NULL,                           -- from 0, in the order of dealer and claim
    stratum INTEGER NOT NULL,
    paid_cents INTEGER NOT NULL,                         -- on the claim, when the sample was drawn
    PRIMARY KEY (sample, row)
) STRICT, WITHOUT ROWID;

-- The claims that were drawn, in the order of drawing.
CREATE TABLE sample_items (
    sample INTEGER NOT NULL,
    item INTEGER NOT NULL,                               -- from 1
    row INTEGER NOT NULL,
    PRIMARY KEY (sample, item)
) STRICT, WITHOUT ROWID;

-- ---- 2. Judgements ----

-- One row a filled worksheet that said something new.
CREATE TABLE judgement_files (
    recording INTEGER PRIMARY KEY,
    sample INTEGER NOT NULL,
    file_name TEXT NOT NULL,
    file_digest BLOB NOT NULL CHECK (length(file_digest) = 32),     -- BLAKE2b-256 of the file
    judged_by TEXT NOT NULL,
    judged_on INTEGER NOT NULL,
    recorded_at TEXT NOT NULL,
    judgement_count INTEGER NOT NULL
) STRICT;

-- A later judgement on the same item is a correction, and counts.
CREATE TABLE judgements (
    recording INTEGER NOT NULL,
    item INTEGER NOT NULL,
    judgement TEXT NOT NULL,                             -- upheld, error, missing (papers)
    right_cents INTEGER NOT NULL,                        -- what would have been right to pay; missing: 0
    note TEXT NOT NULL,
    PRIMARY KEY (recording, item)
) STRICT, WITHOUT ROWID;

-- ---- 3. Chargebacks ----

-- One row a dealer and time that money was taken back after an audit, or given back after a correction.
CREATE TABLE chargebacks (
    chargeback INTEGER PRIMARY KEY,
    sample INTEGER NOT NULL,
    dealer TEXT NOT NULL,
    method TEXT NOT NULL,                                -- claims, extrapolated
    decided_by TEXT NOT NULL,
    reason TEXT NOT NULL,
    decided_on INTEGER NOT NULL,
    recorded_at TEXT NOT NULL,
    notified_on INTEGER,                                 -- when the dealer was told; null: not said
    notice_days INTEGER,                                 -- that the region asks for between the two; null: none
    confidence_millionths INTEGER,                       -- of the interval; null: not extrapolated
    estimate_cents INTEGER,                              -- of what was paid too much on the whole frame
    error_cents INTEGER,                                 -- its standard error
    lower_cents INTEGER,                                 -- lower limit of the interval: no more is taken back
    items_cents INTEGER NOT NULL,                        -- taken back on single claims by this record; below 0: given back
    beyond_cents INTEGER NOT NULL,                       -- taken back beyond them, for the rest of the frame
    basis TEXT NOT NULL                                  -- how the amounts came about, in words
) STRICT;

-- What a chargeback takes back on single claims. Each is an office decision too, whose action is chargeback.
CREATE TABLE chargeback_items (
    chargeback INTEGER NOT NULL,
    item INTEGER NOT NULL,                               -- of sample_items
    row INTEGER NOT NULL,                                -- of claim_rows
    decision INTEGER NOT NULL,                           -- of office_decisions
    cents INTEGER NOT NULL,                              -- taken back; below 0: given back
    basis TEXT NOT NULL,
    PRIMARY KEY (chargeback, item)
) STRICT, WITHOUT ROWID;

-- ---- 4. Views: what counts now ----

-- One row a sample: how it was drawn, how far it is judged, what was found and taken back.
CREATE VIEW samples_now AS
SELECT s.sample,
       s.name,
       s.method,                                         -- simple, stratified, money, picked
       s.strata_by,
       s.because,                                        -- why these claims were selected
       date(s.drawn_on * 86400, 'unixepoch') AS drawn_on,
       s.generator,
       s.seed,
       s.frame_count,                                    -- claims that could be drawn
       s.frame_cents,                                    -- paid on them
       lower(hex(s.frame_digest)) AS frame_digest,
       s.older_count,                                    -- left out: older than the region's look-back
       (SELECT count(*) FROM sample_items WHERE sample = s.sample) AS item_count,
       (SELECT count(*) FROM judgements_now WHERE sample = s.sample AND judgement IS NOT NULL) AS judged_count,
       (SELECT count(*) FROM judgements_now WHERE sample = s.sample AND wrong_cents <> 0) AS wrong_count,
       (SELECT coalesce(sum(wrong_cents), 0) FROM judgements_now WHERE sample = s.sample) AS wrong_cents,
       (SELECT coalesce(sum(items_cents + beyond_cents), 0) FROM chargebacks WHERE sample = s.sample)
           AS charged_back_cents
FROM samples AS s;

-- One row a sampled claim, with the judgement that counts.
CREATE VIEW judgements_now AS
SELECT i.sample,
       i.item,                                           -- the number on the worksheet
       i.row,                                            -- of claim_rows
       r.dealer, r.claim, r.revision, r.campaign, r.vin,
       f.stratum,
       f.paid_cents,                                     -- when the sample was drawn
       j.judgement,                                      -- upheld, error, missing; null: not judged yet
       j.right_cents,                                    -- what would have been right to pay
       f.paid_cents - j.right_cents AS wrong_cents,      -- paid too much; below 0: too little
       j.note,
       w.judged_by,
       date(w.judged_on * 86400, 'unixepoch') AS judged_on,
       (SELECT count(*) FROM judgements AS k JOIN judgement_files AS v ON v.recording = k.recording
        WHERE v.sample = i.sample AND k.item = i.item) AS judgement_count    -- more than 1: corrected
FROM sample_items AS i
JOIN claim_rows AS r ON r.row = i.row
JOIN sample_frame AS f ON f.sample = i.sample AND f.row = i.row
LEFT JOIN judgement_files AS w
       ON w.recording = (SELECT max(k.recording) FROM judgements AS k
                         JOIN judgement_files AS v ON v.recording = k.recording
                         WHERE v.sample = i.sample AND k.item = i.item)
LEFT JOIN judgements AS j ON j.recording = w.recording AND j.item = i.item;

-- One row for each claim on which money was taken back after an audit, and one (claim null) for each amount that was
-- extrapolated to the rest of a frame.
CREATE VIEW chargebacks_now AS
SELECT c.chargeback,
       s.name AS sample_name,
       c.dealer,
       c.method,                                         -- claims, extrapolated
       r.claim, r.revision, r.campaign, r.vin,
       i.cents,                                          -- taken back; below 0: given back
       i.basis,                                          -- how the amount came about
       date(c.decided_on * 86400, 'unixepoch') AS decided_on,
       c.decided_by,
       c.reason
FROM chargebacks AS c JOIN samples AS s ON s.sample = c.sample
JOIN chargeback_items AS i ON i.chargeback = c.chargeback JOIN claim_rows AS r ON r.row = i.row
UNION ALL
SELECT c.chargeback, s.name, c.dealer, c.method, NULL, NULL, NULL, NULL, c.beyond_cents, c.basis,
       date(c.decided_on * 86400, 'unixepoch'), c.decided_by, c.reason
FROM chargebacks AS c JOIN samples AS s ON s.sample = c.sample
WHERE c.beyond_cents <> 0;

-- Claims whose money is taken back already as a part of an extrapolated amount: no single one may be taken back again.
CREATE VIEW rows_covered AS
SELECT f.row, f.sample
FROM sample_frame AS f
WHERE f.sample IN (SELECT sample FROM chargebacks GROUP BY sample HAVING sum(beyond_cents) > 0);

-- Money that was taken back after an audit beyond single claims (below 0), or given back: it is of the dealer and of no
-- claim, so row, claim and the like are null.
CREATE VIEW payments_beyond_claims AS
SELECT NULL AS row, c.dealer, NULL AS claim, NULL AS revision, NULL AS campaign, NULL AS vin,
       date(c.decided_on * 86400, 'unixepoch') AS paid_on, -c.beyond_cents AS paid_cents,
       'chargeback' AS action, c.decided_by, c.reason
FROM chargebacks AS c
WHERE c.beyond_cents <> 0;

-- One row for each time that money moved.
CREATE VIEW payments AS
SELECT * FROM payments_by_engine UNION ALL SELECT * FROM payments_by_people
UNION ALL SELECT * FROM payments_beyond_claims;

-- ---- 5. Nothing recorded is edited or deleted ----

CREATE TRIGGER samples_update BEFORE UPDATE ON samples
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER samples_delete BEFORE DELETE ON samples
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER sample_regions_update BEFORE UPDATE ON sample_regions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER sample_regions_delete BEFORE DELETE ON sample_regions
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER sample_strata_update BEFORE UPDATE ON sample_strata
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER sample_strata_delete BEFORE DELETE ON sample_strata
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER sample_frame_update BEFORE UPDATE ON sample_frame
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER sample_frame_delete BEFORE DELETE ON sample_frame
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER sample_items_update BEFORE UPDATE ON sample_items
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER sample_items_delete BEFORE DELETE ON sample_items
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER judgement_files_update BEFORE UPDATE ON judgement_files
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER judgement_files_delete BEFORE DELETE ON judgement_files
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER judgements_update BEFORE UPDATE ON judgements
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER judgements_delete BEFORE DELETE ON judgements
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER chargebacks_update BEFORE UPDATE ON chargebacks
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER chargebacks_delete BEFORE DELETE ON chargebacks
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
CREATE TRIGGER chargeback_items_update BEFORE UPDATE ON chargeback_items
BEGIN SELECT RAISE(ABORT, 'what is recorded is never edited; record a correction'); END;
CREATE TRIGGER chargeback_items_delete BEFORE DELETE ON chargeback_items
BEGIN SELECT RAISE(ABORT, 'what is recorded is never deleted; record a correction'); END;
