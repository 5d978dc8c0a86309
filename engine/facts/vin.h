/* vin.h - what a vehicle identification number says of itself, by 49 CFR 565.15.
 *
 * Pure functions of the text. Whether the vehicle is registered, and which one is nearest, the register knows.
 */
#ifndef WM_FACTS_VIN_H
#define WM_FACTS_VIN_H

#include <stdbool.h>

#include "base/text.h"

enum vin_form { VIN_FORM_OK, VIN_FORM_LENGTH, VIN_FORM_CHARACTERS };

/* Seventeen characters of A-Z (without I, O, Q) and 0-9, upper-cased before. A VIN of the wrong length is
 * VIN_FORM_LENGTH whatever its characters. Characters are code points. */
enum vin_form vin_form(struct text vin);
const char *vin_form_name(enum vin_form form);    /* "ok", "length", "characters" */

/* The check digit in position 9 is the one that 49 CFR 565.15(c), Tables III to V, gives. form must be VIN_FORM_OK. */
bool vin_check_is_right(struct text vin);

/* The check digit that belongs into position 9: '0' to '9' or 'X'. form must be VIN_FORM_OK. */
char vin_check_digit(struct text vin);

/* The model year by positions 10 and 7, 49 CFR 565.15(d) Table VI: a digit in position 7 puts the year
 * into 1980-2009, a letter into 2010-2039 (vehicles up to 4,536 kg). 0: position 10 is no year code.
 * form must be VIN_FORM_OK. */
int vin_model_year(struct text vin);

#endif
