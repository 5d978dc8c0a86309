# What goes beyond `make test`: other compilers, sanitizers, searches for inputs, coverage, mutants. Included by
# Makefile.

# Debian's names for what these commands need besides.
HARDENING_PACKAGES = clang clang-tidy libclang-rt-14-dev cppcheck valgrind
HARDENING_COMMANDS = compiled static tidy cppcheck fuzz tsan memcheck coverage mutation

# --- Fuzzing: see tests/fuzz/fuzz.h -----------------------------------------------------------------------------------

FUZZ_TARGETS = $(patsubst tests/fuzz/%.c,%,$(filter-out tests/fuzz/run_corpus.c,$(sort $(wildcard tests/fuzz/*.c))))
FUZZ_RUNNERS = $(FUZZ_TARGETS:%=$(BUILD)/fuzz/%)
FUZZ_FLAGS = -O1 -g -DARENA_EXACT -fno-omit-frame-pointer -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=undefined
SECONDS ?= 60

# The targets with a plain main, for `make test`.
$(BUILD)/fuzz/run_corpus.o: tests/fuzz/run_corpus.c | $(CHECKED)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -Itests/fuzz -MMD -MP -c -o $@ $<

$(BUILD)/fuzz/%: tests/fuzz/%.c $(BUILD)/fuzz/run_corpus.o $(LIBRARY)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -Itests/unit -Itests/fuzz -MMD -MP -MF $@.d -o $@ $< $(BUILD)/fuzz/run_corpus.o $(LIBRARY) \
	  $(ENGINE_LIBS) -lcmocka

run-corpus: $(FUZZ_RUNNERS)
	@for t in $(FUZZ_TARGETS); do $(BUILD)/fuzz/$$t tests/fuzz/corpus/$$t $(CHANGES) tests/fuzz/$$t.dict || \
	   { echo "fuzz target $$t failed" >&2; exit 1; }; done

# Inputs that are run for each file of a corpus: the file itself, and changes of it.
CHANGES ?= 40

# Each target on random changes until it was run on INPUTS of them in all; without sanitizers, so ten times as quick as `make fuzz`.
fuzz-changes: $(FUZZ_RUNNERS)
	@sh tests/fuzz/change.sh $(BUILD) $(INPUTS) $(if $(TARGETS),$(TARGETS),$(FUZZ_TARGETS))
INPUTS ?= 20000000

# The same with clang's libFuzzer.
$(BUILD)/fuzzer/%: tests/fuzz/%.c $(LIBRARY)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -fsanitize=fuzzer $(ALL_LDFLAGS) -Itests/unit -Itests/fuzz -MMD -MP -MF $@.d -o $@ $< $(LIBRARY) \
	  $(ENGINE_LIBS) -lcmocka

fuzzers: $(FUZZ_TARGETS:%=$(BUILD)/fuzzer/%)

# Searches with each target for SECONDS; TARGETS="csv table" names some. What it finds stays in build/clang-fuzz/found.
fuzz: packages
	@$(MAKE) --no-print-directory BUILD=$(BUILD)/clang-fuzz CC=clang HARDENING= CFLAGS='$(FUZZ_FLAGS)' \
	  LDFLAGS='-fsanitize=address,undefined' fuzzers
	@sh tests/fuzz/search.sh $(BUILD)/clang-fuzz $(SECONDS) $(if $(TARGETS),$(TARGETS),$(FUZZ_TARGETS))

.PHONY: run-corpus fuzzers fuzz fuzz-changes

-include $(BUILD)/fuzz/run_corpus.d $(FUZZ_RUNNERS:=.d) $(FUZZ_TARGETS:%=$(BUILD)/fuzzer/%.d)

# --- Other compilers, and what reads the code without running it ------------------------------------------------------

# Everything is compiled, nothing is run: `make CC=clang BUILD=build/clang CI=true compiled`.
compiled: $(BUILD)/witnessmark $(UNIT_TESTS) $(FUZZ_RUNNERS) $(BUILD)/fixtures/demo $(BUILD)/fault/fault

static: packages tidy cppcheck

tidy: $(LIBRARY)
	@clang-tidy --quiet $(ENGINE_SOURCES) -- $(filter-out -f% -W%,$(ALL_CFLAGS)) 2> $(BUILD)/tidy.log && \
	  echo "clang-tidy: nothing in $(words $(ENGINE_SOURCES)) files"

cppcheck: $(LIBRARY)
	cppcheck --std=c11 --enable=warning,performance,portability --inline-suppr --error-exitcode=1 --quiet \
	  --suppressions-list=tests/cppcheck-exceptions.txt -D_GNU_SOURCE -DPCRE2_CODE_UNIT_WIDTH=8 -Iengine \
	  -I$(BUILD)/generated -D'json_array_foreach(a,i,v)=while((v=json_array_get(a,i=0)))' \
	  -D'json_object_foreach(o,k,v)=while((v=json_object_get(o,k=0)))' engine

.PHONY: compiled static tidy cppcheck

# --- What the tests reach ---------------------------------------------------------------------------------------------

COVERAGE = $(BUILD)/coverage-run
COVERAGE_EXACT = $(BUILD)/coverage-exact
COVERAGE_MAKE = $(MAKE) --no-print-directory HARDENING= LDFLAGS=--coverage CFLAGS='-O0 -g --coverage

# All tests, and the faults too: what happens where memory ends is reached by them alone. For the faults each piece of an arena
# is an allocation of its own, each of which then fails.
coverage: packages
	@mkdir -p $(BUILD)
	@find $(COVERAGE) $(COVERAGE_EXACT) -name '*.gcda' -delete 2>/dev/null || true
	@$(COVERAGE_MAKE)' BUILD=$(COVERAGE) run-test > $(BUILD)/coverage-test.log 2>&1 || \
	  { tail -n 20 $(BUILD)/coverage-test.log; exit 1; }
	@$(COVERAGE_MAKE) -DARENA_EXACT' BUILD=$(COVERAGE_EXACT) fault FULL='calls once' > $(BUILD)/coverage-fault.log 2>&1 || \
	  { tail -n 20 $(BUILD)/coverage-fault.log; exit 1; }
	@sh tests/coverage/report.sh $(COVERAGE) $(COVERAGE_EXACT)

.PHONY: coverage

# --- Memory and threads -----------------------------------------------------------------------------------------------

# A batch that is large enough for several threads: BATCH claims.
BATCH ?= 6000
$(BUILD)/day/data/claims.csv: $(BUILD)/bench/batches
	@mkdir -p $(@D)
	$(BUILD)/bench/batches $(@D) $(BATCH)

run-day: $(BUILD)/witnessmark $(BUILD)/day/data/claims.csv $(DEMO)/office.db
	@sh tests/day/day.sh $(BUILD)/witnessmark $(DEMO) $(BUILD)/day/demo 4
	@sh tests/day/day.sh $(BUILD)/witnessmark $(BUILD)/day/data $(BUILD)/day/batch 4

# A day at the office with four threads, on a build that stops at data races.
tsan: packages
	@TSAN_OPTIONS='exitcode=99 halt_on_error=1 suppressions=$(abspath tests/day/tsan.supp)' $(MAKE) --no-print-directory \
	  BUILD=$(BUILD)/tsan HARDENING=-fno-omit-frame-pointer CFLAGS='-O1 -g -fsanitize=thread' LDFLAGS=-fsanitize=thread run-day

# The same day, of the demo office alone, under valgrind; then the unit tests of the parts that read what strangers send, which
# leave memory of their own.
MEMCHECK = valgrind --quiet --error-exitcode=99 --leak-check=full --errors-for-leak-kinds=definite,indirect \
           --suppressions=tests/day/valgrind.supp
# Without test_conditions: out of the just-in-time code of its many patterns valgrind does not find its way back, so that no
# suppression can tell that code from ours.
MEMCHECK_TESTS = test_base test_intake test_tables test_tables_try test_rules test_units test_calendar \
                 test_vin test_funnel test_statistics test_language test_reports test_facts test_verdict
memcheck: $(BUILD)/witnessmark $(DEMO)/office.db $(MEMCHECK_TESTS:%=$(BUILD)/tests/%)
	@WRAP="$(MEMCHECK)" sh tests/day/day.sh $(BUILD)/witnessmark $(DEMO) $(BUILD)/day/memcheck 2
	@for t in $(MEMCHECK_TESTS); do WM_SHARE=50 $(TEST_ENVIRONMENT) $(subst --leak-check=full,--leak-check=no,$(MEMCHECK)) $(BUILD)/tests/$$t > $(BUILD)/memcheck.log 2>&1 || \
	   { echo "$$t failed:" >&2; tail -n 40 $(BUILD)/memcheck.log >&2; exit 1; }; done; echo "$(words $(MEMCHECK_TESTS)) test programs"

.PHONY: run-day tsan memcheck

# --- Mutants ----------------------------------------------------------------------------------------------------------

# MUTANTS places, drawn by SEED, are changed one at a time; the tests must notice 95 of 100.
MUTANTS ?= 300
mutation: $(DEMO)/office.db
	@bash tests/mutation/run.sh $(BUILD) $(MUTANTS) $(SEED)

.PHONY: mutation
