/* batches.c - writes an office and nights of any size for measuring: batches DIR CLAIMS [SEED [NIGHTS]]
 *
 * Vehicles (three for each claim; one and a little for each where there are several nights), dealers, and
 * NIGHTS files of CLAIMS claims of some 220 bytes under the demo campaign H26-02, one vehicle a claim, dealers
 * and vehicles in random order; one claim in twenty has a fault. Several nights spread over ten years, and nights.csv
 * says when the office received each. Deterministic by seed. Invented data, for measuring only.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DEALERS = 1000, FAULTS = 8 };

static uint64_t seed = 1;
static uint64_t nights = 1;

/* 2026-02-16, from which the days of the claims are counted, and how many days several nights spread over. */
enum { FIRST_DAY = 20500, ALL_DAYS = 3650, DATE_ROOM = 40 };

/* A day since 1970-01-01 as 2026-02-16 (the usual conversion of the proleptic Gregorian calendar, counted from a
 * first of March). */
static const char *date_of(int day, char room[DATE_ROOM])
{
    int since = day + 719468, era = since / 146097, of_era = since - era * 146097;
    int year = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
    int of_year = of_era - (365 * year + year / 4 - year / 100), month = (5 * of_year + 2) / 153;

    snprintf(room, DATE_ROOM, "%04d-%02d-%02d", year + era * 400 + (month >= 10),
             month < 10 ? month + 3 : month - 9, of_year - (153 * month + 2) / 5 + 1);
    return room;
}

/* The first day of what is claimed in a night, and how many days there are. */
static int first_day(uint64_t night)
{
    return FIRST_DAY + (int)(nights > 1 ? night * ALL_DAYS / nights : 0);
}

static int day_count(void)
{
    enum { OF_ONE_NIGHT = 10 };
    return nights > OF_ONE_NIGHT && nights < ALL_DAYS / OF_ONE_NIGHT ? (int)(ALL_DAYS / nights) : OF_ONE_NIGHT;
}

/* splitmix64 (Steele, Lea, Flood 2014): one number for each stream and place. */
static uint64_t number(uint64_t stream, uint64_t place)
{
    uint64_t z = seed * UINT64_C(0x9e3779b97f4a7c15) + stream * UINT64_C(0xd1342543de82ef95) +
                 (place + 1) * UINT64_C(0x9e3779b97f4a7c15);

    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static const struct work {
    const char *engine, *parts, *labor, *torque;
    int parts_cents, labor_cents; /* at 150.00 an hour and 40 % markup */
} WORK[3] = {
    {"R16", "PSH-1600-01=1; FLD-0100=1", "PSR-10=1.2; PSR-20=0.2", "30 N.m", 18165, 21000},
    {"R20", "PSH-2000-01=1; FLD-0100=1", "PSR-10=1.4; PSR-20=0.2", "22 lbf.ft", 19334, 24000},
    {"D22", "PSH-2200-01=1; FLD-0100=2", "PSR-10=1.9; PSR-20=0.2", "40 Nm", 24122, 31500},
};

static int value_of(char c)
{
    static const char VALUES[] = "12345678.12345.7.923456789";
    return c <= '9' ? c - '0' : VALUES[c - 'A'] - '0';
}

/* The check digit of 49 CFR 565.15(c). */
static void seal(char *vin)
{
    static const int WEIGHTS[17] = {8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};
    int sum = 0;

    for (int i = 0; i < 17; i++)
        sum += WEIGHTS[i] * (WEIGHTS[i] != 0 ? value_of(vin[i]) : 0);
    vin[8] = (char)(sum % 11 == 10 ? 'X' : '0' + sum % 11);
}

/* Vehicle `at`: two model years and three engines, all of them in the campaign. */
static int vehicle(uint64_t at, char *vin)
{
    static const char LETTERS[] = "ABCDEFGHJKLMNPRSTUVWXYZ";
    int engine = (int)(number(1, at) % 3);

    snprintf(vin, 18, "EZ7B%cM%c%c0%cE%c%05d", "ACD"[engine], LETTERS[at / 100000 % 23],
             LETTERS[at / 2300000 % 23], at % 2 ? 'J' : 'K', LETTERS[number(2, at) % 23], (int)(at % 100000));
    seal(vin);
    return engine;
}

static FILE *open_file(const char *folder, const char *name)
{
    char path[4096];

    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    if (file == NULL) {
        perror(path);
        exit(2);
    }
    return file;
}

static void close_file(FILE *file)
{
    if (ferror(file) || fclose(file) != 0) {
        perror("write");
        exit(2);
    }
}

static void write_vehicles(const char *folder, uint64_t count)
{
    FILE *file = open_file(folder, "vehicles.csv");
    char vin[18];

    fputs("vin,model_line,model_year,engine,transmission,built_on,plant,options,status,status_on\n", file);
    for (uint64_t at = 0; at < count; at++) {
        int engine = vehicle(at, vin);
        fprintf(file, "%s,Brindle,%d,%s,manual,%d-0%d-15,Eastmere,%s,in_service,\n", vin, at % 2 ? 2018 : 2019,
                WORK[engine].engine, at % 2 ? 2018 : 2019, 1 + (int)(number(3, at) % 9),
                number(3, at) % 3 ? "" : "towing");
    }
    close_file(file);
}

static void write_dealers(const char *folder)
{
    FILE *file = open_file(folder, "dealers.csv");

    fputs("dealer,name,region,labor_rate,parts_markup,active_from,active_to,valid_from\n", file);
    for (int dealer = 0; dealer < DEALERS; dealer++)
        fprintf(file, "B%04d,Bench dealer %d,US-NY,150.00,40,2010-01-01,,\n", dealer, dealer);
    close_file(file);
}

/* Enough of every kit for everybody. */
static void write_shipments(const char *folder)
{
    static const char *const KITS[3] = {"PSH-1600-01", "PSH-2000-01", "PSH-2200-01"};
    FILE *file = open_file(folder, "shipments.csv");

    fputs("shipment,dealer,part,quantity,shipped_on\n", file);
    for (int at = 0; at < DEALERS * 3; at++)
        fprintf(file, "S%06d,B%04d,%s,100000,2026-01-05\n", at, at / 3, KITS[at % 3]);
    close_file(file);
}

static void write_claim(FILE *file, uint64_t claim, uint64_t at, int first)
{
    uint64_t chance = number(5, claim);
    int engine, fault = chance % 20 == 0 ? (int)(chance / 20 % FAULTS) : FAULTS;
    char vin[18], opened[DATE_ROOM], completed[DATE_ROOM], submitted[DATE_ROOM];

    engine = vehicle(at, vin);
    const struct work *work = &WORK[fault == 0 ? (engine + 1) % 3 : engine];
    if (fault == 1)
        vin[16] = vin[16] == '9' ? '0' : (char)(vin[16] + 1);
    int day = first + (int)(chance / 200 % (uint64_t)day_count());
    /* of one night all were submitted in the first nine days of March */
    int sent = nights > 1 ? day + 2 + (int)(chance / 3 % 9) : FIRST_DAY + 13 + (int)(chance / 3 % 9);
    int labor = work->labor_cents + (fault == 2 ? 1500 : 0),
        total = work->parts_cents + labor + (fault == 3 ? 100 : 0);
    fprintf(
        file, "C%08llu,0,%c%04d,RO%08llu,H26-02,%s,repaired,%d,%s,%d,mi,%s,%s,%s,",
        (unsigned long long)claim, fault == 4 ? 'X' : 'B', (int)(number(6, claim) % DEALERS),
        (unsigned long long)claim, vin, (at % 2 ? 2018 : 2019) + (fault == 5), WORK[engine].engine,
        10000 + (int)(chance / 7 % 900) * 100, date_of(day, opened), date_of(day + 1 - (fault == 6 ? 3 : 0), completed),
        date_of(sent, submitted));
    fprintf(file, "T%d,%s,%s,%sTORQUE=%s,%d.%02d,%d.%02d,,%d.%02d\n", (int)(chance / 11 % 6), work->parts,
            work->labor, fault == 7 ? "" : "LEAK=dry; ", work->torque, work->parts_cents / 100,
            work->parts_cents % 100, labor / 100, labor % 100, total / 100, total % 100);
}

static void write_night(const char *folder, const char *name, uint64_t night, uint64_t claims, uint64_t vehicles)
{
    FILE *file = open_file(folder, name);
    uint64_t first = night * claims;

    fputs("claim,revision,dealer,repair_order,campaign,vin,outcome,model_year,engine,odometer,odometer_unit,"
          "opened_on,"
          "completed_on,submitted_on,technician,parts,labor,inspections,parts_amount,labor_amount,other_amount,"
          "total_amount\n",
          file);
    /* a step that is prime to the number of vehicles visits each once, in no order */
    for (uint64_t claim = first; claim < first + claims; claim++)
        write_claim(file, claim, claim * UINT64_C(7368787) % vehicles, first_day(night));
    close_file(file);
}

int main(int count, char **words)
{
    if (count < 3) {
        fputs("usage: batches DIR CLAIMS [SEED [NIGHTS]]\n", stderr);
        return 2;
    }
    uint64_t claims = strtoull(words[2], NULL, 10);
    nights = count > 4 ? strtoull(words[4], NULL, 10) : 1;
    uint64_t vehicles = nights > 1 ? claims * nights + claims / 10 + 1000 : claims * 3 + 1000;
    if (count > 3)
        seed = strtoull(words[3], NULL, 10);
    write_vehicles(words[1], vehicles);
    write_dealers(words[1]);
    write_shipments(words[1]);
    FILE *list = open_file(words[1], "nights.csv");
    fputs("file,received_on\n", list);
    for (uint64_t night = 0; night < nights; night++) {
        char name[64];
        if (nights == 1)
            snprintf(name, sizeof name, "claims.csv");
        else
            snprintf(name, sizeof name, "claims-%02llu.csv", (unsigned long long)night + 1);
        write_night(words[1], name, night, claims, vehicles);
        char day[DATE_ROOM];
        fprintf(list, "%s,%s\n", name, date_of(first_day(night) + day_count() + 17, day));
    }
    close_file(list);
    return 0;
}
