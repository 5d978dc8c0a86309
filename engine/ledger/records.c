#include "ledger/records.h"

enum { FIELD_NULL, FIELD_TEXT, FIELD_INTEGER };

static void put_number(uint8_t *room, uint64_t number, int bytes)
{
    for (int i = 0; i < bytes; i++)
        room[i] = (uint8_t)(number >> (8 * i));
}

/* Most forms fit into the room and are hashed at once, which costs half of hashing them piece by piece. */
static void flush(struct canonical *canonical)
{
    if (!canonical->started)
        crypto_generichash_init(&canonical->state, NULL, 0, DIGEST_BYTES);
    canonical->started = true;
    crypto_generichash_update(&canonical->state, canonical->room, canonical->used);
    canonical->used = 0;
}

static void add(struct canonical *canonical, const void *bytes, size_t length)
{
    if (length > sizeof canonical->room - canonical->used)
        flush(canonical);
    if (length > sizeof canonical->room) {
        crypto_generichash_update(&canonical->state, bytes, length);
        return;
    }
    memcpy(canonical->room + canonical->used, bytes, length);
    canonical->used += (uint32_t)length;
}

void canonical_begin(struct canonical *canonical, const char *kind)
{
    canonical->used = 0;
    canonical->started = false;
    canonical_text(canonical, text_of(kind));
}

void canonical_bytes(struct canonical *canonical, const void *bytes, size_t length)
{
    uint8_t head[9] = {FIELD_TEXT};

    put_number(head + 1, length, 8);
    add(canonical, head, sizeof head);
    if (length > 0)
        add(canonical, bytes, length);
}

void canonical_text(struct canonical *canonical, struct text t)
{
    canonical_bytes(canonical, t.bytes, t.length);
}

void canonical_integer(struct canonical *canonical, int64_t number)
{
    uint8_t field[9] = {FIELD_INTEGER};

    put_number(field + 1, (uint64_t)number, 8);
    add(canonical, field, sizeof field);
}

void canonical_null(struct canonical *canonical)
{
    uint8_t field = FIELD_NULL;
    add(canonical, &field, 1);
}

void canonical_day(struct canonical *canonical, int32_t day)
{
    if (day == DAY_NONE)
        canonical_null(canonical);
    else
        canonical_integer(canonical, day);
}

void canonical_end(struct canonical *canonical, uint8_t ret_digest[DIGEST_BYTES])
{
    if (!canonical->started) {
        crypto_generichash(ret_digest, DIGEST_BYTES, canonical->room, canonical->used, NULL, 0);
        return;
    }
    flush(canonical);
    crypto_generichash_final(&canonical->state, ret_digest, DIGEST_BYTES);
}

/* --- Claim rows
 * ------------------------------------------------------------------------------------------------------ */

void row_canonical_begin(struct canonical *canonical, const struct row_head *head,
                         const uint8_t *content_digest)
{
    canonical_begin(canonical, "claim row");
    canonical_integer(canonical, head->row);
    canonical_integer(canonical, head->batch);
    canonical_integer(canonical, head->line);
    canonical_text(canonical, head->decision);
    canonical_integer(canonical, head->asked_cents);
    canonical_integer(canonical, head->payable_cents);
    canonical_integer(canonical, head->due_cents);
    if (head->replaces_is_null)
        canonical_null(canonical);
    else
        canonical_integer(canonical, head->replaces);
    canonical_bytes(canonical, content_digest, DIGEST_BYTES);
}

void row_canonical_finding(struct canonical *canonical, const struct row_finding *finding)
{
    canonical_text(canonical, finding->effect);
    canonical_text(canonical, finding->finding);
    canonical_text(canonical, finding->item);
    canonical_text(canonical, finding->message);
    canonical_text(canonical, finding->rule);
}

struct row_head row_head_of(const struct dossier *dossier, int64_t batch)
{
    return (struct row_head){.row = (int64_t)dossier->row,
                             .batch = batch,
                             .line = (int64_t)dossier->claim.line,
                             .decision = text_of(decision_name(dossier->decision)),
                             .asked_cents = dossier->claim.total_amount_cents,
                             .payable_cents = dossier->payable_cents,
                             .due_cents = dossier->due_cents,
                             .replaces_is_null = dossier->supersedes && dossier->replaces == 0,
                             .replaces = (int64_t)dossier->replaces};
}

struct row_finding row_finding_of(const struct finding *finding, struct buffer *rule_room)
{
    buffer_clear(rule_room);
    buffer_add_text(rule_room, finding->rule_file);
    if (finding->rule_row.length > 0) {
        buffer_add_byte(rule_room, ':');
        buffer_add_text(rule_room, finding->rule_row);
    }
    return (struct row_finding){text_of(effect_name(finding->effect)), finding->name, finding->item,
                                finding->message, buffer_text(rule_room)};
}

/* --- Batches --- */

void batch_canonical_begin(struct batch_canonical *canonical)
{
    canonical_begin(&canonical->rows, "claim rows");
    canonical_begin(&canonical->unreadable, "unreadable rows");
    canonical_begin(&canonical->repeated, "repeated rows");
    canonical_begin(&canonical->followups, "followups");
    canonical_begin(&canonical->followup_parts, "followup parts");
}

void batch_canonical_row(struct batch_canonical *canonical, const uint8_t row_digest[DIGEST_BYTES])
{
    canonical_bytes(&canonical->rows, row_digest, DIGEST_BYTES);
}

void batch_canonical_unreadable(struct batch_canonical *canonical, int64_t line, struct text dealer,
                                struct text claim, struct text message)
{
    canonical_integer(&canonical->unreadable, line);
    canonical_text(&canonical->unreadable, dealer);
    canonical_text(&canonical->unreadable, claim);
    canonical_text(&canonical->unreadable, message);
}

void batch_canonical_repeated(struct batch_canonical *canonical, int64_t line, int64_t row)
{
    canonical_integer(&canonical->repeated, line);
    canonical_integer(&canonical->repeated, row);
}

void batch_canonical_followup(struct batch_canonical *canonical, const struct followup *followup)
{
    canonical_integer(&canonical->followups, followup->row);
    canonical_integer(&canonical->followups, followup->number);
    canonical_text(&canonical->followups, followup->vin);
    canonical_text(&canonical->followups, followup->followup);
    canonical_text(&canonical->followups, followup->part);
    canonical_text(&canonical->followups, followup->part_key);
    canonical_day(&canonical->followups, followup->due_on);
}

void batch_canonical_followup_part(struct batch_canonical *canonical, int64_t supplied_by, int64_t row,
                                   int64_t number)
{
    canonical_integer(&canonical->followup_parts, supplied_by);
    canonical_integer(&canonical->followup_parts, row);
    canonical_integer(&canonical->followup_parts, number);
}

static void add_digest_of(struct canonical *to, struct canonical *part)
{
    uint8_t digest[DIGEST_BYTES];

    canonical_end(part, digest);
    canonical_bytes(to, digest, sizeof digest);
}

void batch_digest(const struct batch_record *batch, struct batch_canonical *canonical,
                  uint8_t ret_digest[DIGEST_BYTES])
{
    struct canonical whole;

    canonical_begin(&whole, "batch");
    canonical_integer(&whole, batch->batch);
    canonical_text(&whole, batch->file_name);
    canonical_integer(&whole, batch->file_bytes);
    canonical_bytes(&whole, batch->file_digest, DIGEST_BYTES);
    canonical_integer(&whole, batch->first_row);
    canonical_integer(&whole, batch->row_count);
    canonical_integer(&whole, batch->unreadable_count);
    canonical_integer(&whole, batch->repeated_count);
    canonical_day(&whole, batch->received_on);
    canonical_day(&whole, batch->today);
    canonical_text(&whole, batch->posted_at);
    canonical_integer(&whole, batch->rules);
    canonical_bytes(&whole, batch->rules_digest, DIGEST_BYTES);
    canonical_integer(&whole, batch->load);
    add_digest_of(&whole, &canonical->rows);
    add_digest_of(&whole, &canonical->unreadable);
    add_digest_of(&whole, &canonical->repeated);
    add_digest_of(&whole, &canonical->followups);
    add_digest_of(&whole, &canonical->followup_parts);
    canonical_end(&whole, ret_digest);
}

/* --- Rules --- */

void rules_canonical_begin(struct canonical *canonical)
{
    canonical_begin(canonical, "rules");
}

void rules_canonical_file(struct canonical *canonical, struct text path, const uint8_t file_digest[DIGEST_BYTES])
{
    canonical_text(canonical, path);
    canonical_bytes(canonical, file_digest, DIGEST_BYTES);
}

void bytes_digest(struct text bytes, uint8_t ret_digest[DIGEST_BYTES])
{
    crypto_generichash(ret_digest, DIGEST_BYTES, (const unsigned char *)bytes.bytes, bytes.length, NULL, 0);
}

/* --- Blocks
 * ------------------------------------------------------------------------------------------------------------
 */

enum { LENGTH_BYTES = 4, RECORD_HEAD = DIGEST_BYTES + LENGTH_BYTES };

void row_block_add(struct buffer *block, const uint8_t digest[DIGEST_BYTES], struct text content)
{
    uint8_t length[LENGTH_BYTES];

    put_number(length, content.length, LENGTH_BYTES);
    buffer_add(block, digest, DIGEST_BYTES);
    buffer_add(block, length, LENGTH_BYTES);
    buffer_add_text(block, content);
}

bool row_block_next(struct text *rest, const uint8_t **ret_digest, struct text *ret_content)
{
    size_t length = 0;

    if (rest->length < RECORD_HEAD)
        return false;
    for (int i = 0; i < LENGTH_BYTES; i++)
        length |= (size_t)(uint8_t)rest->bytes[DIGEST_BYTES + i] << (8 * i);
    if (length > rest->length - RECORD_HEAD)
        return false;
    *ret_digest = (const uint8_t *)rest->bytes;
    *ret_content = (struct text){rest->bytes + RECORD_HEAD, length};
    rest->bytes += RECORD_HEAD + length;
    rest->length -= RECORD_HEAD + length;
    return true;
}
