# Witnessmark. `make demo` and `make test` are complete on a fresh machine; see README.md.
CC ?= gcc
BUILD ?= build
PREFIX ?= /usr/local
PYTHON ?= python3

PACKAGES = gcc make pkg-config libc6-dev libcsv-dev libsqlite3-dev libpcre2-dev libcmocka-dev libsodium-dev libjansson-dev
LIBRARIES = sqlite3 libpcre2-8 cmocka libsodium jansson

WARNINGS = -Wall -Wextra -Wshadow -Wstrict-prototypes -Wmissing-prototypes -Wpointer-arith -Wwrite-strings \
           -Wvla -Wundef -Wformat=2 -Wimplicit-fallthrough $(if $(CI),-Werror)
HARDENING = -D_FORTIFY_SOURCE=2 -fstack-protector-strong -fPIE
CFLAGS ?= -O2 -g
ALL_CFLAGS = -std=gnu11 $(CFLAGS) $(WARNINGS) $(HARDENING) -D_GNU_SOURCE -DPCRE2_CODE_UNIT_WIDTH=8 -pthread -Iengine -I$(BUILD)/generated
ALL_LDFLAGS = $(LDFLAGS) -pie -Wl,-z,relro,-z,now -pthread
ENGINE_LIBS = -lsqlite3 -lpcre2-8 -lcsv -lsodium -ljansson

# The stages of the pipeline, in the order in which they may include each other.
STAGES = base tables rules intake register facts verdict ledger cli

ENGINE_SOURCES = $(foreach stage,$(STAGES),$(sort $(wildcard engine/$(stage)/*.c)))
ENGINE_OBJECTS = $(ENGINE_SOURCES:%.c=$(BUILD)/%.o)
LIBRARY = $(BUILD)/libwitnessmark.a
UNIT_TESTS = $(patsubst tests/unit/%.c,$(BUILD)/tests/%,$(sort $(wildcard tests/unit/test_*.c)))

.PHONY: all demo test unit packages bench clean install
.DELETE_ON_ERROR:

all: witnessmark

witnessmark: $(BUILD)/witnessmark
	cp $< $@

$(BUILD)/witnessmark: engine/main.c $(LIBRARY)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -MMD -MP -MF $@.d -o $@ $< $(LIBRARY) $(ENGINE_LIBS)

$(LIBRARY): $(ENGINE_OBJECTS)
	rm -f $@
	$(AR) rcs $@ $^

$(BUILD)/engine/%.o: engine/%.c
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -MMD -MP -c -o $@ $<

# SQL compiled in: each line of the file becomes a line of a C string.
$(BUILD)/generated/%_sql.h: engine/ledger/%.sql
	@mkdir -p $(@D)
	{ echo 'static const char $(shell echo $* | tr a-z A-Z)_SQL[] ='; \
	  sed -e 's/\\/\\\\/g' -e 's/"/\\"/g' -e 's/^.*$$/    "&\\n"/' $<; echo '    ;'; } > $@

$(BUILD)/engine/ledger/office.o: $(BUILD)/generated/schema_sql.h

$(BUILD)/tests/%: tests/unit/%.c $(LIBRARY)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -Itests/unit -MMD -MP -MF $@.d -o $@ $< $(LIBRARY) $(ENGINE_LIBS) -lcmocka

unit: $(UNIT_TESTS)
	@status=0; for t in $(UNIT_TESTS); do $$t || status=1; done; exit $$status

clean:
	rm -rf $(BUILD) witnessmark

-include $(ENGINE_OBJECTS:.o=.d) $(UNIT_TESTS:=.d) $(BUILD)/witnessmark.d
