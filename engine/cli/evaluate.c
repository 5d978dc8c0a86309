#include "audit/evaluation.h"
#include "base/status.h"
#include "cli/audit_desk.h"
#include "cli/write_evaluation.h"

struct evaluating {
    const struct options *options;
    struct desk desk; /* the office alone */
    struct buffer words;
    int64_t confidence;
};

static int read_sample(struct evaluating *evaluating, struct sample *sample, struct judgement **ret_judgements)
{
    struct desk *desk = &evaluating->desk;
    int status = office_open(evaluating->options->office, OFFICE_READ, &desk->sink, &desk->office);

    if (status == WM_OK)
        status = office_begin_read(desk->office);
    desk->reading = status == WM_OK;
    if (status == WM_OK)
        status = audit_desk_sample(desk, evaluating->options->arguments[0], sample, ret_judgements);
    return desk_end_reading(desk, status);
}

static int evaluate(struct evaluating *evaluating)
{
    struct sample sample;
    struct judgement *judgements;
    struct evaluation evaluation;
    int status = read_sample(evaluating, &sample, &judgements);

    if (status == WM_OK)
        status =
            evaluate_sample(&sample, judgements, evaluating->confidence, &evaluating->desk.arena, &evaluation);
    return status == WM_OK
               ? write_evaluation(evaluating->options->format, &sample, &evaluation, &evaluating->words)
               : status;
}

static int print(struct evaluating *evaluating)
{
    struct output out;

    if (output_open(&out, evaluating->options->out, &evaluating->desk.sink) != WM_OK)
        return EXIT_UNUSABLE;
    output_add(&out, evaluating->words.bytes, evaluating->words.length);
    return cli_finish(&out, &evaluating->desk.sink, EXIT_DONE);
}

static int run_evaluate(const struct options *options)
{
    struct evaluating evaluating = {.options = options, .desk = {.sink = cli_diagnostics()}};
    int code = EXIT_UNUSABLE;

    if (audit_read_percent(options, OPTION_CONFIDENCE, "confidence", "90", &evaluating.desk.sink,
                           &evaluating.confidence)) {
        code = cli_exit(evaluate(&evaluating));
        if (code == EXIT_DONE)
            code = print(&evaluating);
    }
    buffer_free(&evaluating.words);
    desk_close(&evaluating.desk);
    return code;
}

const struct command COMMAND_EVALUATE = {
    .name = "evaluate",
    .arguments = "NAME",
    .summary = "what follows from the judgements of a sample, and how far it may be trusted",
    .details = "Gives the rate of wrong claims and what was paid too much on the whole frame, each with its "
               "limits, what\n"
               "each figure means and when it does not hold, and what may be taken back at most.\n",
    .options = OPTION_BIT(OPTION_OFFICE) | OPTION_BIT(OPTION_CONFIDENCE) | OPTION_BIT(OPTION_FORMAT) |
               OPTION_BIT(OPTION_OUT),
    .least_arguments = 1,
    .most_arguments = 1,
    .run = run_evaluate,
};
