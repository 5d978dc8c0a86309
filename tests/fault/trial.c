#include "trial.h"

#include <fcntl.h>
#include <malloc.h>
#include <signal.h>
#include <sodium.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

#include "cli/command.h"
#include "ground.h"

enum { MOST_WORDS = 40, MOST_NAMES = 8, MOST_STATES = 4096, SECONDS_AT_MOST = 120, SAY_AT_MOST = 12 };

/* How a command ended. */
struct ending {
    int code;
    char *out, *err; /* owned */
    long live;       /* pieces of memory that were kept */
    int descriptors; /* that were kept */
};

/* What an office file in some state leads to. */
enum state { STATE_OLD, STATE_NEW, STATE_BETWEEN, STATE_UNFIT, STATE_ENDS_ELSEWHERE };
static const char *const STATE_WORDS[] = {"the old office", "the new office", "an office between the two",
                                          "an office that is neither, or that verify refuses",
                                          "an office from which the command once more does not do its work"};

static int say_to = STDOUT_FILENO;
static char *names; /* NAME=VALUE lines */
static const struct step *step;
static char *words[MOST_WORDS];
static int said; /* failures of this step */

/* Of the step, without failures. */
static struct ending good;
static struct snapshot good_out, good_office;
static char *old_record, *new_record; /* what verify says; empty without an office */

static struct {
    uint8_t digest[DIGEST_BYTES];
    enum state state;
} known[MOST_STATES];
static int known_count;

void trial_say(const char *format, ...)
{
    va_list arguments;

    va_start(arguments, format);
    vdprintf(say_to, format, arguments);
    va_end(arguments);
}

static char *first_line(const char *text)
{
    static char line[240];
    snprintf(line, sizeof line, "%.*s", (int)strcspn(text, "\n"), text);
    return line;
}

static void expect(bool holds, const struct trial_case *what, struct trial_counts *counts, const char *wrong,
                   const struct ending *ending)
{
    if (holds) {
        counts->passed++;
        return;
    }
    counts->failed++;
    if (said++ >= SAY_AT_MOST)
        return;
    trial_say("FAILED: %s\n    %s %ld %s: %s\n", step->words, what->name, what->n,
              CALL_ACTION_NAMES[what->action], wrong);
    if (ending != NULL)
        trial_say("    ended with %d; %s\n", ending->code,
                  ending->err[0] != '\0' ? first_line(ending->err) : "said nothing");
}

/* --- Words ------------------------------------------------------------------------------------------------ */

static char *named(const char *name)
{
    size_t length = strlen(name);

    for (char *line = names; line != NULL; line = strchr(line, '\n')) {
        line += *line == '\n';
        if (strncmp(line, name, length) == 0 && line[length] == '=')
            return strndup(line + length + 1, strcspn(line + length + 1, "\n"));
    }
    trial_say("no name %s\n", name);
    exit(2);
}

static void split_words(const char *text)
{
    int count = 0;

    for (int i = 0; words[i] != NULL; i++)
        free(words[i]);
    words[count++] = strdup("witnessmark");
    for (const char *at = text; *at != '\0' && count < MOST_WORDS - 1; at += *at == ' ') {
        size_t length = strcspn(at, " ");
        char *word = strndup(at, length);
        if (word[0] == '@') {
            char *name = word;
            word = named(name + 1);
            free(name);
        }
        words[count++] = word;
        at += length;
    }
    words[count] = NULL;
}

char **trial_words(void)
{
    return words;
}

/* --- Running ---------------------------------------------------------------------------------------------- */

void trial_enter(const char *folder, int worker)
{
    char path[1200];

    say_to = fcntl(STDOUT_FILENO, F_DUPFD_CLOEXEC, 50);
    snprintf(path, sizeof path, "%s/names", folder);
    names = ground_read(path, NULL);
    ground_enter(folder, worker);
    snprintf(path, sizeof path, "%s/w%d/out/config", folder, worker); /* only whole paths count */
    setenv("XDG_CONFIG_HOME", path, 1);
    setenv("TMPDIR", folder, 1);
    for (int to = STDOUT_FILENO; to <= STDERR_FILENO; to++) {
        int descriptor = memfd_create(to == STDOUT_FILENO ? "out" : "err", MFD_CLOEXEC);
        if (names == NULL || descriptor < 0 || dup2(descriptor, to) < 0)
            exit(2);
        close(descriptor);
    }
    /* what is given back is used again at once: most of the time of a case went to the system for it */
    mallopt(M_MMAP_THRESHOLD, 1 << 30);
    mallopt(M_TRIM_THRESHOLD, 1 << 30);
}

static int open_descriptors(void)
{
    int count = 0;

    for (int i = 0; i < 64; i++)
        count += fcntl(i, F_GETFD) >= 0;
    return count;
}

static char *take_said(int descriptor)
{
    off_t length = lseek(descriptor, 0, SEEK_END);
    char *text = malloc((size_t)length + 1);

    if (text == NULL || pread(descriptor, text, (size_t)length, 0) != length || ftruncate(descriptor, 0) != 0 ||
        lseek(descriptor, 0, SEEK_SET) != 0)
        exit(2);
    text[length] = '\0';
    return text;
}

void trial_forget_said(void)
{
    free(take_said(STDOUT_FILENO));
    free(take_said(STDERR_FILENO));
}

/* The command's words, which it may put in another order, and what main and exit do around it. */
static int call_command(char **of)
{
    char *copy[MOST_WORDS];
    int count = 0;

    for (; of[count] != NULL; count++)
        copy[count] = of[count];
    copy[count] = NULL;
    int code = cli_main(count, copy);
    fflush(stdout);
    return code;
}

/* Standard input from its beginning. */
static void take_input(void)
{
    if (step == NULL || step->input == NULL)
        return;
    int descriptor = open(step->input, O_RDONLY | O_CLOEXEC);
    if (descriptor < 0 || dup2(descriptor, STDIN_FILENO) < 0 || fseek(stdin, 0, SEEK_SET) != 0)
        exit(2);
    close(descriptor);
}

static void ending_free(struct ending *ending)
{
    free(ending->out);
    free(ending->err);
    *ending = (struct ending){0};
}

static struct ending run_now(char **of, const struct trial_case *what, uint64_t *places, long room)
{
    struct ending ending = {0};
    int descriptors = open_descriptors();

    take_input();
    alarm(SECONDS_AT_MOST);
    calls_deny_writing(step != NULL && step->unwritable);
    calls_begin(what->kind, what->n, what->action);
    if (places != NULL)
        calls_note_places(places, room);
    ending.code = call_command(of);
    sqlite3_shutdown(); /* so that the next call begins from nothing, and nothing is live behind this one */
    calls_end();
    alarm(0);
    ending.live = calls_live();
    ending.descriptors = open_descriptors() - descriptors;
    ending.out = take_said(STDOUT_FILENO);
    ending.err = take_said(STDERR_FILENO);
    return ending;
}

static const struct trial_case NO_FAILURE = {CALL_ALLOC, 0, CALL_GO_ON, "no failure"};

/* What is recorded in the office, in verify's words: counts and the head of the chain. NULL: it does not pass,
 * or does where the step's office is damaged. */
static char *record(void)
{
    static char program[] = "witnessmark", verify[] = "verify", option[] = "--office",
                file[] = "office/office.db";
    char *call[] = {program, verify, option, file, NULL};

    if (access("office/office.db", F_OK) != 0)
        return strdup("");
    struct ending ending = run_now(call, &NO_FAILURE, NULL, 0);
    char *said_of_it = ending.code == (step->damaged ? 1 : 0) ? strdup(ending.out) : NULL;
    ending_free(&ending);
    return said_of_it;
}

/* --- States of the office --------------------------------------------------------------------------------- */

static bool is_record(const char *one, const char *other)
{
    return one != NULL && other != NULL && strcmp(one, other) == 0;
}

/* The command once more, from an office as it stands. */
static bool finishes(void)
{
    struct ending again = run_now(words, &NO_FAILURE, NULL, 0);
    char *is = record();
    bool holds = again.code == good.code && is_record(is, new_record);

    free(is);
    ending_free(&again);
    return holds;
}

static enum state find_state(void)
{
    char *is = record();
    enum state state = is_record(is, old_record)      ? STATE_OLD
                       : is_record(is, new_record)    ? STATE_NEW
                       : is != NULL && step->in_parts ? STATE_BETWEEN
                                                      : STATE_UNFIT;

    free(is);
    /* only of a post is it promised that it may be repeated when it was done; others that were done say so */
    bool may_repeat = state == STATE_OLD || strncmp(step->words, "post", 4) == 0;
    if (state != STATE_UNFIT && step->writes && may_repeat && !finishes())
        return STATE_ENDS_ELSEWHERE;
    return state;
}

static enum state state_of_office(void)
{
    struct snapshot now;
    uint8_t digest[DIGEST_BYTES];

    if (ground_office_is_old())
        return STATE_OLD;
    ground_look("office", &now);
    if (step->writes && snapshots_equal(&now, &good_office))
        return STATE_NEW;
    if (crypto_generichash(digest, sizeof digest, (const unsigned char *)now.files,
                           sizeof now.files[0] * (size_t)now.count, NULL, 0) != 0)
        exit(2);
    for (int i = 0; i < known_count; i++)
        if (memcmp(known[i].digest, digest, sizeof digest) == 0)
            return known[i].state;
    enum state state = find_state();
    if (known_count < MOST_STATES) {
        memcpy(known[known_count].digest, digest, sizeof digest);
        known[known_count++].state = state;
    }
    return state;
}

/* --- Judging ---------------------------------------------------------------------------------------------- */

/* Of several files the first may be recorded, of which a warning then tells too. */
static bool is_one_line(const char *text)
{
    const char *end = strchr(text, '\n');
    size_t length = strlen(text);

    if (end != NULL && step->in_parts && strncmp(end + 1, "warning: ", 9) == 0)
        length = (size_t)(end + 1 - text);
    return length > 10 && end == text + length - 1 && strstr(text, "locked") == NULL &&
           strncmp(text, "warning: ", 9) != 0;
}

/* Where each of several files cannot be opened or written, each has its line. */
static bool says_why(const struct trial_case *what, const char *text)
{
    bool stays = what->action == CALL_MANY || what->action == CALL_FULL;
    size_t length = strlen(text);

    return stays ? length > 10 && text[length - 1] == '\n' : is_one_line(text);
}

/* Equal names, where what they hold is another thing each time. */
static bool names_equal(const struct snapshot *one, const struct snapshot *other, bool part)
{
    int j = 0;

    for (int i = 0; i < one->count; i++, j++) {
        while (part && j < other->count && strcmp(one->files[i].name, other->files[j].name) != 0)
            j++;
        if (j >= other->count || strcmp(one->files[i].name, other->files[j].name) != 0)
            return false;
    }
    return part || one->count == other->count;
}

static void judge_out(const struct trial_case *what, const struct ending *ending, struct trial_counts *counts)
{
    struct snapshot out;

    ground_look("out", &out);
    if (what->action == CALL_KILL)
        snapshot_drop_parts(&out);
    bool part = what->action == CALL_KILL || ending->code == EXIT_UNUSABLE;
    if (part && step->in_parts) /* the files about the first part are whole, and not those about both */
        return;
    bool warned = strncmp(ending->err, "warning: ", 9) == 0;
    bool holds = step->varies                       ? names_equal(&out, &good_out, part)
                 : part || (warned && step->writes) ? snapshot_is_part_of(&out, &good_out)
                                                    : snapshots_equal(&out, &good_out);
    expect(holds, what, counts,
           part ? "a file beside the office is there in part" : "a file beside the office is another one",
           ending);
}

/* What there is to tell in any case may have been told before: so many bytes of whole lines. */
static size_t told_before(const char *text)
{
    size_t told = 0;

    for (size_t i = 0; text[i] != '\0' && text[i] == good.err[i]; i++)
        if (text[i] == '\n')
            told = i + 1;
    return told;
}

static void judge_words(const struct trial_case *what, const struct ending *ending, struct trial_counts *counts)
{
    bool warned = strncmp(ending->err, "warning: ", 9) == 0;
    size_t told = told_before(ending->err);
    bool same = strcmp(ending->err, good.err) == 0 && (step->varies || strcmp(ending->out, good.out) == 0);
    if (step->refused && ending->code == EXIT_UNUSABLE)
        expect(same || says_why(what, ending->err), what, counts, "neither the refusal nor a line that says why",
               ending);
    else if (ending->code == EXIT_UNUSABLE && good.code != EXIT_UNUSABLE)
        expect(says_why(what, ending->err + told), what, counts, "no single line says why", ending);
    else if (ending->code == good.code && !warned && !step->damaged) /* of a damaged row all but its number may lack */
        expect(same, what, counts, "done, but it said something else", ending);
}

/* What it could not read it has named. */
static bool may_find(const struct trial_case *what, int code)
{
    return what->action != CALL_FAIL && what->action != CALL_INTERRUPT && code == EXIT_FOUND && step->goes_on;
}

static void judge(const struct trial_case *what, const struct ending *ending, struct trial_counts *counts)
{
    bool killed = what->action == CALL_KILL;
    int code = ending->code;

    bool may_fail = what->action != CALL_INTERRUPT || step->refused;
    expect(killed ? code == ENDED_BY_KILL || code == good.code
                  : code == good.code || (may_fail && code == EXIT_UNUSABLE) || may_find(what, code),
           what, counts, "another result", ending);
    if (!killed && !may_find(what, code))
        judge_words(what, ending, counts);
    if (!may_find(what, code))
        judge_out(what, ending, counts);
    enum state state = state_of_office();
    expect(state <= STATE_NEW || state == STATE_BETWEEN, what, counts, STATE_WORDS[state], ending);
    expect(state != STATE_NEW || step->writes, what, counts, STATE_WORDS[state], ending);
    if (!step->writes || code < 0)
        return;
    if (code == EXIT_UNUSABLE)
        expect(state != STATE_NEW, what, counts, "exit 2, and yet it is recorded", ending);
    else
        expect(state == STATE_NEW, what, counts, "done, and yet it is not recorded", ending);
}

/* Which allocation it was; by running the case once more. */
static void name_leak(const struct trial_case *what)
{
    ground_restore();
    calls_begin(what->kind, what->n, what->action);
    calls_name_live();
    call_command(words);
    sqlite3_shutdown();
    calls_end();
    trial_forget_said();
    if (said <= SAY_AT_MOST)
        trial_say("    allocation %ld was not given back\n", calls_first_live());
}

void trial_run(const struct trial_case *what, struct trial_counts *counts)
{
    ground_restore();
    struct ending ending = run_now(words, what, NULL, 0);
    judge(what, &ending, counts);
    if (ending.live != 0) { /* a cache that was filled for the first time? */
        ending_free(&ending);
        ground_restore();
        ending = run_now(words, what, NULL, 0);
    }
    expect(ending.live == 0, what, counts, "memory was not given back", &ending);
    if (ending.live != 0)
        name_leak(what);
    expect(ending.descriptors == 0, what, counts, "a file was not closed", &ending);
    ending_free(&ending);
}

static int code_of(int status)
{
    return WIFEXITED(status)             ? WEXITSTATUS(status)
           : WTERMSIG(status) == SIGKILL ? ENDED_BY_KILL
                                         : ENDED_BY_SIGNAL;
}

static int run_and_be_killed(char **of, const struct trial_case *what)
{
    int status;
    pid_t child = fork();

    if (child == 0) {
        alarm(SECONDS_AT_MOST);
        calls_begin(what->kind, what->n, what->action);
        _exit(call_command(of));
    }
    waitpid(child, &status, 0);
    return code_of(status);
}

void trial_run_killed(const struct trial_case *what, struct trial_counts *counts)
{
    trial_run_other(what, run_and_be_killed, counts);
}

void trial_run_other(const struct trial_case *what, int (*run)(char **of, const struct trial_case *what),
                     struct trial_counts *counts)
{
    struct ending ending = {0};

    ground_restore();
    ending.code = run(words, what);
    ending.out = take_said(STDOUT_FILENO);
    ending.err = take_said(STDERR_FILENO);
    judge(what, &ending, counts);
    ending_free(&ending);
}

void trial_count(enum call_kind kind, uint64_t *places, long room, long *ret_calls)
{
    const struct trial_case counted = {kind, 0, CALL_GO_ON, "no failure"};

    ground_restore();
    struct ending ending = run_now(words, &counted, places, room);
    for (int i = 0; i < CALL_KINDS; i++)
        ret_calls[i] = calls_counted((enum call_kind)i);
    ending_free(&ending);
}

void trial_show(enum call_kind kind, long n)
{
    ground_restore();
    calls_begin(kind, 0, CALL_GO_ON);
    calls_show(n, say_to);
    call_command(words);
    calls_end();
    trial_forget_said();
}

void trial_take_up(const struct step *taken, struct trial_counts *counts)
{
    step = taken;
    said = known_count = 0;
    split_words(step->words);
    ground_set_office(step->office);
    ground_restore();
    free(old_record);
    free(new_record);
    ending_free(&good);
    old_record = record();
    ground_restore();
    good = run_now(words, &NO_FAILURE, NULL, 0);
    ground_look("out", &good_out);
    ground_look("office", &good_office);
    new_record = record();
    expect(old_record != NULL && is_record(old_record, new_record) == !step->writes, &NO_FAILURE, counts,
           "it does not record, or only asks and yet records", &good);
    expect(step->refused ? good.code == EXIT_UNUSABLE : good.code == EXIT_DONE || good.code == EXIT_FOUND,
           &NO_FAILURE, counts, step->refused ? "it is not refused" : "it does not work at all", &good);
    trial_run(&NO_FAILURE, counts);
}
