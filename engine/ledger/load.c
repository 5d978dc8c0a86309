#include "ledger/load.h"

#include <assert.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/decimal.h"
#include "base/status.h"
#include "intake/excerpt.h"
#include "ledger/load_parts.h"
#include "register/vehicle_pack.h"

const char *office_data_name(enum office_data kind)
{
    static const char *const names[OFFICE_DATA_KINDS] = {"vehicles", "dealers", "shipments", "approvals",
                                                         "notices"};

    return names[kind];
}

/* ---- errors ---- */

void load_errors_add(struct load_errors *errors, uint64_t line, uint32_t column, const char *format, ...)
{
    char message[1024];
    va_list arguments;

    errors->count++;
    if (errors->named_count == LOAD_ERRORS_NAMED)
        return;
    va_start(arguments, format);
    vsnprintf(message, sizeof message, format, arguments);
    va_end(arguments);
    struct text kept = text_copy(&errors->arena, text_of(message));
    if (kept.bytes != NULL)
        errors->named[errors->named_count++] = (struct load_error){line, column, kept};
}

void load_errors_free(struct load_errors *errors)
{
    arena_free(&errors->arena);
}

static int compare_errors(const void *a, const void *b)
{
    const struct load_error *x = *(const struct load_error *const *)a,
                            *y = *(const struct load_error *const *)b;

    if (x->line != y->line)
        return x->line < y->line ? -1 : 1;
    return (x->column > y->column) - (x->column < y->column); /* a cell has one error */
}

int load_errors_report(struct load_errors *const *lists, size_t count, struct text file, struct diag_sink *sink)
{
    enum { MOST_LISTS = 16 };
    const struct load_error *all[MOST_LISTS * LOAD_ERRORS_NAMED];
    size_t named = 0;
    uint64_t total = 0;

    assert(count <= MOST_LISTS);
    for (size_t i = 0; i < count; i++) {
        total += lists[i]->count;
        for (size_t k = 0; k < lists[i]->named_count; k++)
            all[named++] = &lists[i]->named[k];
    }
    qsort(all, named, sizeof *all, compare_errors);
    if (named > LOAD_ERRORS_NAMED)
        named = LOAD_ERRORS_NAMED;
    for (size_t i = 0; i < named; i++)
        diag_error(sink, (struct place){file, all[i]->line, all[i]->column}, "%.*s",
                   TEXT_ARGUMENTS(all[i]->message));
    if (total > named)
        diag_error(sink, (struct place){file, 0, 0}, "%llu more error%s; nothing was loaded",
                   (unsigned long long)(total - named), plural(total - named));
    return total > 0 ? WM_BAD_INPUT : WM_OK;
}

/* ---- rows and cells ---- */

bool load_row_is_whole(const struct csv_row *row, uint32_t width, struct load_errors *errors)
{
    if (row->fault != CSV_OK)
        load_errors_add(errors, row->fault_line, row->fault_column, "the cell %s", csv_fault_words(row->fault));
    else if (row->cell_count != width)
        load_errors_add(errors, row->line, 0, "the row has %u cells, the header %u; make them the same",
                        row->cell_count, width);
    return row->fault == CSV_OK && row->cell_count == width;
}

void load_cell_error(const struct load_cell *cell, const char *words)
{
    char room[EXCERPT_ROOM];

    load_errors_add(cell->errors, csv_cell_line(cell->row, cell->at), cell->at, "%s %s %s", cell->column,
                    excerpt_write(cell->text, room), words);
}

bool load_cell_filled(const struct load_cell *cell)
{
    if (cell->text.length > 0)
        return true;
    load_errors_add(cell->errors, csv_cell_line(cell->row, cell->at), cell->at, "%s is empty; it is needed",
                    cell->column);
    return false;
}

bool load_cell_day(const struct load_cell *cell, int32_t *ret_day)
{
    int32_t day = DAY_NONE;

    if (cell->text.length > 0 && !date_read(cell->text, &day)) {
        load_cell_error(cell, "is not a date; write it as 2026-03-01");
        return false;
    }
    *ret_day = day;
    return true;
}

bool load_cell_number(const struct load_cell *cell, unsigned places, bool may_be_negative,
                      int64_t *ret_millionths)
{
    char words[128];
    int64_t number = 0;
    enum number_fault fault = decimal_read(cell->text, places, &number);

    if (fault == NUMBER_TOO_PRECISE)
        snprintf(words, sizeof words,
                 places == 0 ? "must be a whole number" : "has more than %u places; round it", places);
    else if (fault != NUMBER_OK)
        snprintf(words, sizeof words, "%s; write it as 1234.5", number_fault_words(fault));
    else if (number < 0 && !may_be_negative)
        snprintf(words, sizeof words, "is below 0; it cannot be");
    else {
        *ret_millionths = number;
        return true;
    }
    load_cell_error(cell, words);
    return false;
}

bool load_cell_vin(const struct load_cell *cell, char room[18], struct text *ret_vin)
{
    struct packed_vin packed;

    if (cell->text.length > VIN_LENGTH) {
        load_cell_error(cell, "has more than 17 characters; correct it");
        return false;
    }
    for (size_t i = 0; i < cell->text.length; i++)
        room[i] =
            (char)(cell->text.bytes[i] - (cell->text.bytes[i] >= 'a' && cell->text.bytes[i] <= 'z' ? 32 : 0));
    room[cell->text.length] = '\0';
    *ret_vin = (struct text){room, cell->text.length};
    if (cell->text.length > 0 && !vin_pack(*ret_vin, &packed)) {
        load_cell_error(cell, "may hold letters A to Z and digits only; correct it");
        return false;
    }
    return true;
}

/* ---- the load as a record ---- */

int load_next_number(struct office *office, int64_t *ret_load)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;

    int status = office_prepare(office, "SELECT coalesce(max(load), 0) + 1 FROM loads", &statement);
    if (status == WM_OK)
        status = office_step(office, statement, &row);
    if (status == WM_OK)
        *ret_load = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return status;
}

static int find_same_file(struct office *office, enum office_data kind, const struct load_file *file,
                          struct load_summary *summary)
{
    sqlite3_stmt *statement = NULL;
    bool row = false;

    int status = office_prepare(office,
                                "SELECT load, loaded_on FROM loads WHERE kind = ?1 AND digest = ?2 "
                                "ORDER BY load DESC LIMIT 1",
                                &statement);
    if (status != WM_OK)
        return status;
    sqlite3_bind_text(statement, 1, office_data_name(kind), -1, SQLITE_STATIC);
    sqlite3_bind_blob(statement, 2, file->scan.digest, sizeof file->scan.digest, SQLITE_STATIC);
    status = office_step(office, statement, &row);
    summary->same_file_load = row ? sqlite3_column_int64(statement, 0) : 0;
    summary->same_file_on = row ? sqlite3_column_int(statement, 1) : DAY_NONE;
    sqlite3_finalize(statement);
    return status;
}

int load_record(struct office *office, enum office_data kind, const struct load_file *file, int32_t today,
                struct load_summary *summary)
{
    sqlite3_stmt *statement = NULL;

    int status = find_same_file(office, kind, file, summary);
    if (status != WM_OK)
        return status;
    if (summary->same_file_load != 0 && summary->new_keys + summary->changed_keys == 0) {
        summary->load = 0;
        return WM_OK;
    }
    status = load_next_number(office, &summary->load);
    if (status == WM_OK)
        status =
            office_prepare(office,
                           "INSERT INTO loads (load, kind, file_name, digest, rows, new_keys, changed_keys, "
                           "loaded_on) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                           &statement);
    if (status != WM_OK)
        return status;
    sqlite3_bind_int64(statement, 1, summary->load);
    sqlite3_bind_text(statement, 2, office_data_name(kind), -1, SQLITE_STATIC);
    sqlite3_bind_text(statement, 3, file->source.name.bytes, (int)file->source.name.length, SQLITE_STATIC);
    sqlite3_bind_blob(statement, 4, file->scan.digest, sizeof file->scan.digest, SQLITE_STATIC);
    sqlite3_bind_int64(statement, 5, (int64_t)summary->rows);
    sqlite3_bind_int64(statement, 6, (int64_t)summary->new_keys);
    sqlite3_bind_int64(statement, 7, (int64_t)summary->changed_keys);
    sqlite3_bind_int(statement, 8, today);
    status = office_execute(office, statement);
    sqlite3_finalize(statement);
    return status;
}

int office_load(struct office *office, enum office_data kind, const char *path, int32_t today,
                struct diag_sink *sink, struct load_summary *ret_summary)
{
    struct load_file file = {.source = {.descriptor = -1}};
    struct load_summary summary = {.load = 0};

    int status = csv_source_open(&file.source, path, sink);
    if (status != WM_OK)
        return status;
    if (kind == OFFICE_VEHICLES)
        status = load_vehicles(office, &file, today, sink, &summary);
    else
        status = load_records(office, kind, &file, today, sink, &summary);
    csv_source_close(&file.source);
    if (status == WM_OK)
        *ret_summary = summary;
    return status;
}
