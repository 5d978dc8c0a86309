/* write_evaluation.h - an evaluation as people and programs read it. */
#ifndef WM_CLI_WRITE_EVALUATION_H
#define WM_CLI_WRITE_EVALUATION_H

#include "audit/evaluation.h"
#include "cli/command.h"

/* Text, CSV (figure,value,standard_error,lower,upper) or one JSON object. WM_NO_MEMORY. */
int write_evaluation(enum format format, const struct sample *sample, const struct evaluation *evaluation,
                     struct buffer *out);

#endif
