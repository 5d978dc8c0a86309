/* finding_names.h - for tests: the names of findings that offices and dealers speak of, as the contract lists them. */
#ifndef WM_TEST_FINDING_NAMES_H
#define WM_TEST_FINDING_NAMES_H

enum { ENGINE_FINDINGS = 2 };    /* the first ones are made by the engine, the others by the checks that ship */

static const char *const FINDING_NAMES[] = {
    "row-unreadable", "rules-ambiguous", "campaign-unknown", "campaign-not-open", "campaign-closed",
    "campaign-replaced", "dealer-unknown", "dealer-inactive", "vin-malformed", "vin-check-digit", "vehicle-unknown",
    "vehicle-not-eligible", "vehicle-retired", "model-year-mismatch", "engine-mismatch", "stage-not-open",
    "date-missing", "date-order", "date-future", "submitted-late", "resubmitted-late", "already-completed",
    "already-inspected", "repair-order-reused", "revision-stale", "revision-reused", "revision-skipped",
    "refused-before", "approval-unknown", "approval-not-valid", "odometer-backwards", "technician-day-over",
    "kit-missing", "kit-wrong", "kit-several", "kits-exceed-supply", "part-missing", "part-not-listed",
    "part-quantity-over", "part-quantity-short", "part-price-over", "part-price-unlisted", "operation-unknown",
    "operation-not-listed", "operation-missing", "hours-over", "hours-not-tenths", "inspection-missing",
    "inspection-unexpected", "amounts-do-not-add-up", "parts-amount-over", "labor-amount-over", "other-amount-over",
};

#endif
