# Witnessmark. `make demo` and `make test` are complete on a fresh machine; see README.md.
ifeq ($(origin CC),default)
CC = gcc
endif
BUILD ?= build

# As many jobs as the machine has processors, where nobody says how many.
ifeq ($(filter -j%,$(MAKEFLAGS)),)
MAKEFLAGS += -j$(shell nproc 2>/dev/null || echo 1)
endif
PREFIX ?= /usr/local

# Debian's names for what the build needs.
PACKAGES = gcc libc6-dev libcsv-dev libsqlite3-dev libpcre2-dev libcmocka-dev libsodium-dev libjansson-dev libgsl-dev \
           libjs-chart.js

WARNINGS = -Wall -Wextra -Wshadow -Wstrict-prototypes -Wmissing-prototypes -Wpointer-arith -Wwrite-strings \
           -Wvla -Wundef -Wformat=2 -Wimplicit-fallthrough $(if $(CI),-Werror)
# clang takes a literal of several pieces in a list of literals for a forgotten comma; SQL is written so.
WARNINGS += $(if $(findstring clang,$(CC)),-Wno-string-concatenation)
HARDENING = -U_FORTIFY_SOURCE -D_FORTIFY_SOURCE=2 -fstack-protector-strong -fPIE
CFLAGS ?= -O2 -g
ALL_CFLAGS = -std=gnu11 $(CFLAGS) $(WARNINGS) $(HARDENING) -D_GNU_SOURCE -DPCRE2_CODE_UNIT_WIDTH=8 -pthread -Iengine -I$(BUILD)/generated
ALL_LDFLAGS = $(LDFLAGS) -pie -Wl,-z,relro,-z,now -pthread
ENGINE_LIBS = -lsqlite3 -lpcre2-8 -lcsv -lsodium -ljansson -lgsl -lgslcblas -lm

# The stages of the pipeline, in the order in which they may include each other.
STAGES = base statistics tables rules intake register facts verdict ledger regulator audit reports pack cli

ENGINE_SOURCES = $(foreach stage,$(STAGES),$(sort $(wildcard engine/$(stage)/*.c)))
ENGINE_OBJECTS = $(ENGINE_SOURCES:%.c=$(BUILD)/%.o)
LIBRARY = $(BUILD)/libwitnessmark.a
UNIT_TESTS = $(patsubst tests/unit/%.c,$(BUILD)/tests/%,$(sort $(wildcard tests/unit/test_*.c)))

DEMO = $(BUILD)/demo

include tests/hardening.mk

# These commands make sure of the packages before anything is compiled.
CHECKED = $(if $(filter demo test bench fault asan $(HARDENING_COMMANDS),$(MAKECMDGOALS)),packages)

.PHONY: all demo test bench fault asan install clean packages run-test
.DELETE_ON_ERROR:
.DEFAULT_GOAL = all

all: witnessmark

witnessmark: $(BUILD)/witnessmark
	cp $< $@

$(BUILD)/witnessmark: engine/main.c $(LIBRARY)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -MMD -MP -MF $@.d -o $@ $< $(LIBRARY) $(ENGINE_LIBS)

$(LIBRARY): $(ENGINE_OBJECTS)
	rm -f $@
	$(AR) rcs $@ $^

$(BUILD)/engine/%.o: engine/%.c | $(CHECKED)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -MMD -MP -c -o $@ $<

# $(1): the name; $(2): the file.
as_c_string = { echo 'static const char $(1)[] ='; \
                sed -e 's/\\/\\\\/g' -e 's/"/\\"/g' -e 's/^.*$$/    "&\\n"/' $(2); echo '    ;'; } > $@

# SQL compiled in: each line of the file becomes a line of a C string.
$(BUILD)/generated/%_sql.h: engine/ledger/%.sql
	@mkdir -p $(@D)
	$(call as_c_string,$(shell echo $* | tr a-z A-Z)_SQL,$<)

# What a page of HTML holds, compiled in alike. CHART_JS: where there is no Debian package of it.
CHART_JS ?= /usr/share/javascript/chart.js/chart.min.js
$(CHART_JS): | $(CHECKED) ;
PAGE_PARTS = $(BUILD)/generated/page_css.h $(BUILD)/generated/page_js.h $(BUILD)/generated/chart_js.h \
             $(BUILD)/generated/chart_licence_html.h

$(BUILD)/generated/page_css.h: engine/reports/page.css
	@mkdir -p $(@D)
	$(call as_c_string,PAGE_CSS,$<)

$(BUILD)/generated/page_js.h: engine/reports/page.js
	@mkdir -p $(@D)
	$(call as_c_string,PAGE_JS,$<)

$(BUILD)/generated/chart_js.h: $(CHART_JS)
	@mkdir -p $(@D)
	$(call as_c_string,CHART_JS,$<)

$(BUILD)/generated/chart_licence_html.h: engine/reports/chart_licence.html
	@mkdir -p $(@D)
	$(call as_c_string,CHART_LICENCE_HTML,$<)

$(BUILD)/engine/reports/write_html.o: $(PAGE_PARTS)

$(BUILD)/engine/ledger/office.o: $(BUILD)/generated/schema_sql.h $(BUILD)/generated/schema_claims_sql.h \
                                 $(BUILD)/generated/schema_audit_sql.h

$(BUILD)/tests/%: tests/unit/%.c $(LIBRARY)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -Itests/unit -MMD -MP -MF $@.d -o $@ $< $(LIBRARY) $(ENGINE_LIBS) -lcmocka

# --- The demo office, which tests use too ---

$(BUILD)/fixtures/demo: fixtures/demo.c | $(CHECKED)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -o $@ $<

$(DEMO)/office.db: $(BUILD)/fixtures/demo $(BUILD)/witnessmark fixtures/demo-load.sh
	rm -rf $(DEMO)
	mkdir -p $(DEMO)
	$(BUILD)/fixtures/demo $(DEMO)
	sh fixtures/demo-load.sh $(BUILD)/witnessmark $(DEMO)

$(DEMO)/D137.pack: $(DEMO)/office.db fixtures/demo-pack.sh $(wildcard rules/*.csv rules/*/*.csv rules/*/*/*.csv)
	sh fixtures/demo-pack.sh $(BUILD)/witnessmark $(DEMO)

# --- Commands ---

demo: $(DEMO)/office.db $(DEMO)/D137.pack
	@sh fixtures/demo-check.sh $(BUILD)/witnessmark $(DEMO)

TEST_ENVIRONMENT = WITNESSMARK=$(abspath $(BUILD)/witnessmark) WITNESSMARK_BUILD=$(abspath $(BUILD)) CC=$(CC)

test: run-test
run-test: $(UNIT_TESTS) $(DEMO)/office.db $(DEMO)/D137.pack $(BUILD)/bench/batches run-corpus | $(filter demo,$(MAKECMDGOALS))
	@$(TEST_ENVIRONMENT) sh tests/unit/run.sh $(TESTS_AT_A_TIME) $(BUILD)/test-logs $(UNIT_TESTS) \
	  $(sort $(wildcard tests/*.sh)) tests/bench/instructions.sh

TESTS_AT_A_TIME ?= 1

# With TEN=1 on an office of ten years instead, of 1,000,000 claims; TEN=10000000: of so many. PEERS=DIR: also what DIR/run.sh
# says, which runs other programs beside this one and compares what they decide.
bench: $(BUILD)/witnessmark $(BUILD)/bench/batches $(BUILD)/bench/measure $(BUILD)/bench/stages
	@$(if $(TEN),:,sh tests/bench/bench.sh $(BUILD)/witnessmark $(BUILD)/bench)
	@$(if $(TEN),:,sh tests/bench/tables.sh $(BUILD)/witnessmark $(BUILD)/bench)
	@$(if $(TEN),:,sh tests/bench/post.sh $(BUILD)/witnessmark $(BUILD)/bench)
	@$(if $(PEERS),$(PEERS)/run.sh -q -r 7 $(abspath $(BUILD)/witnessmark),:)
	@$(if $(TEN),sh tests/bench/ten.sh $(BUILD)/witnessmark $(BUILD)/bench $(if $(filter 1,$(TEN)),1000000,$(TEN)),:)

# What holds when the machine fails; FULL=all fails each call, without it each place that asks for memory once. Where the
# machine has a file system in memory, the offices lie there.
FAULT_FOLDER = $(if $(wildcard /dev/shm/.),/dev/shm/witnessmark-fault.$(shell echo $$$$),$(abspath $(BUILD)/fault/day))
FAULT = $(BUILD)/fault/fault $(abspath $(BUILD)/witnessmark) $(abspath $(DEMO))
fault: $(BUILD)/witnessmark $(BUILD)/fault/fault $(DEMO)/office.db
	@folder=$(FAULT_FOLDER); $(FAULT) $$folder $(FULL); code=$$?; rm -rf $$folder; exit $$code

FAULT_SOURCES = $(sort $(wildcard tests/fault/*.c))
$(BUILD)/fault/fault: $(FAULT_SOURCES) $(wildcard tests/fault/*.h) $(LIBRARY)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -rdynamic -Itests/fault -o $@ $(FAULT_SOURCES) $(LIBRARY) $(ENGINE_LIBS)

$(BUILD)/bench/stages: tests/bench/stages.c $(LIBRARY)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -MMD -MP -MF $@.d -o $@ $< $(LIBRARY) $(ENGINE_LIBS)

$(BUILD)/bench/%: tests/bench/%.c | $(CHECKED)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -o $@ $<

# The tests once more, on a build that stops at bad memory and undefined behaviour; of random cases one
# in ten. Little memory is kept from being used again: to ask for fresh pages took as long as the tests.
ASAN_TESTS = WM_SHARE=10 ASAN_OPTIONS=quarantine_size_mb=8:malloc_context_size=10
asan: packages
	@$(ASAN_TESTS) $(MAKE) --no-print-directory BUILD=$(BUILD)/asan HARDENING=-fno-omit-frame-pointer CHANGES=8 \
	  TESTS_AT_A_TIME=2 CFLAGS='-O1 -g -DARENA_EXACT $(SANITIZE)' LDFLAGS='$(SANITIZE)' run-test
SANITIZE = -fsanitize=address,undefined -fno-sanitize-recover=undefined

# Where there is no apt-get, says what must be there.
packages:
	@missing=; for p in $(PACKAGES) $(if $(filter $(HARDENING_COMMANDS),$(MAKECMDGOALS)),$(HARDENING_PACKAGES)); do \
	   dpkg-query -W -f '$${Status}' $$p 2>/dev/null | grep -q ' installed' || missing="$$missing $$p"; done; \
	 if [ -z "$$missing" ]; then exit 0; fi; \
	 if ! command -v apt-get >/dev/null; then echo "This needs what Debian calls$$missing; if the build fails, install it." >&2; exit 0; fi; \
	 sudo=; if [ "$$(id -u)" != 0 ]; then sudo=sudo; fi; \
	 echo "installing$$missing"; export DEBIAN_FRONTEND=noninteractive; \
	 $$sudo apt-get update -q && $$sudo apt-get install -q -y --no-install-recommends $$missing

# The manual page and the completion are made by the program, of the same words as its --help.
SHARE = $(DESTDIR)$(PREFIX)/share
install: $(BUILD)/witnessmark
	install -D $< $(DESTDIR)$(PREFIX)/bin/witnessmark
	install -d $(SHARE)/witnessmark/reports $(SHARE)/man/man1 $(SHARE)/bash-completion/completions
	install -m 644 reports/*.sql $(SHARE)/witnessmark/reports
	$< --manual > $(SHARE)/man/man1/witnessmark.1
	$< --completion > $(SHARE)/bash-completion/completions/witnessmark
	chmod 644 $(SHARE)/man/man1/witnessmark.1 $(SHARE)/bash-completion/completions/witnessmark

clean:
	rm -rf $(BUILD) witnessmark

-include $(ENGINE_OBJECTS:.o=.d) $(UNIT_TESTS:=.d) $(BUILD)/witnessmark.d $(BUILD)/bench/stages.d
