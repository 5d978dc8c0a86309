#include "rules/lint_words.h"

static const struct text OPTION = {"option:", 7};
static const struct text INSPECTION = {"inspection:", 11};

static struct text without_prefix(struct text name, struct text prefix)
{
    return (struct text){name.bytes + prefix.length, name.length - prefix.length};
}

/* Facts whose value alone tells what it is. */
static bool speaks_for_itself(struct text name)
{
    static const char *const NAMES[] = {"model_line", "model_year", "engine", "transmission", "outcome"};

    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++)
        if (text_is(name, NAMES[i]))
            return true;
    return false;
}

/* `model_year` as people say it. */
static void add_name(struct text name, struct buffer *out)
{
    for (size_t i = 0; i < name.length; i++)
        buffer_add_byte(out, name.bytes[i] == '_' ? ' ' : name.bytes[i]);
}

static void inspection_words(struct text item, const struct lint_class *at, struct buffer *out)
{
    buffer_add_text(out, item);
    if (at->kind == CLASS_NULL)
        buffer_add_string(out, " not reported");
    else if (at->kind != CLASS_ON)
        buffer_add_string(out, " with another result");
    else {
        buffer_add_byte(out, ' ');
        value_write(at->value, out);
    }
}

/* An ordered text between two others has no spelling of its own: each one of the register is a cut point. */
static void between_texts(const struct lint_dim *dim, const struct lint_class *at, struct buffer *out)
{
    add_name(dim->name, out);
    if (at->low.type != VALUE_NULL) {
        buffer_add_string(out, " after ");
        value_write(at->low, out);
    }
    if (at->high.type != VALUE_NULL) {
        buffer_add_string(out, at->low.type != VALUE_NULL ? " and before " : " before ");
        value_write(at->high, out);
    }
}

static void other_text(const struct lint_dim *dim, struct buffer *out)
{
    buffer_add_string(out, "another ");
    add_name(dim->name, out);
}

void lint_class_words(const struct lint_dim *dim, const struct lint_class *at, struct buffer *out)
{
    if (text_starts_with(dim->name, INSPECTION)) {
        inspection_words(without_prefix(dim->name, INSPECTION), at, out);
    } else if (text_starts_with(dim->name, OPTION) && at->kind != CLASS_NULL) {
        buffer_add_string(out, at->value.number ? "with " : "without ");
        buffer_add_text(out, without_prefix(dim->name, OPTION));
    } else if (at->kind == CLASS_NULL) {
        buffer_add_string(out, "no ");
        add_name(dim->name, out);
    } else if (at->kind == CLASS_OTHER) {
        other_text(dim, out);
    } else if (at->kind == CLASS_BETWEEN && dim->type == VALUE_TEXT) {
        between_texts(dim, at, out);
    } else {
        if (!speaks_for_itself(dim->name)) {
            add_name(dim->name, out);
            buffer_add_byte(out, ' ');
        }
        value_write(at->value, out);
    }
}

/* How well a class serves as an example: the lower the better. */
static int rank(const struct lint_class *at)
{
    static const int ranks[] = {[CLASS_ON] = 0, [CLASS_BETWEEN] = 1, [CLASS_OTHER] = 2, [CLASS_NULL] = 3};

    return ranks[at->kind] - (at->in_fleet ? 10 : 0);
}

static int example_class(const struct lint_space *space, const uint64_t *box, uint32_t dim)
{
    int best = -1;

    for (uint32_t k = 0; k < space->dims[dim].class_count; k++)
        if (lint_box_has(space, box, dim, k) &&
            (best < 0 || rank(&space->dims[dim].classes[k]) < rank(&space->dims[dim].classes[best])))
            best = (int)k;
    return best;
}

void lint_box_words(const struct lint_space *space, const uint64_t *box, struct buffer *out)
{
    bool some = false;

    for (uint32_t d = 0; d < space->dim_count; d++) {
        int example = example_class(space, box, d);
        if (example < 0 || lint_box_width(space, box, d) == lint_box_width(space, space->domain, d))
            continue;
        buffer_add_string(out, some ? ", " : "");
        lint_class_words(&space->dims[d], &space->dims[d].classes[example], out);
        some = true;
    }
}
