# What goes beyond `make test`: other compilers, sanitizers, searches for inputs, coverage, mutants. Included by Makefile.

# --- Fuzzing: see tests/fuzz/fuzz.h -----------------------------------------------------------------------------------

FUZZ_TARGETS = $(patsubst tests/fuzz/%.c,%,$(filter-out tests/fuzz/run_corpus.c,$(sort $(wildcard tests/fuzz/*.c))))
FUZZ_RUNNERS = $(FUZZ_TARGETS:%=$(BUILD)/fuzz/%)
FUZZ_FLAGS = -O1 -g -fno-omit-frame-pointer -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=undefined
SECONDS ?= 60

# The targets with a plain main, for `make test`.
$(BUILD)/fuzz/%: tests/fuzz/%.c tests/fuzz/run_corpus.c $(LIBRARY)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(ALL_LDFLAGS) -Itests/unit -Itests/fuzz -MMD -MP -MF $@.d -o $@ $(filter %.c,$^) $(LIBRARY) \
	  $(ENGINE_LIBS) -lcmocka

run-corpus: $(FUZZ_RUNNERS)
	@for t in $(FUZZ_TARGETS); do $(BUILD)/fuzz/$$t tests/fuzz/corpus/$$t || { echo "fuzz target $$t failed" >&2; exit 1; }; done

# The same with clang's libFuzzer.
$(BUILD)/fuzzer/%: tests/fuzz/%.c $(LIBRARY)
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -fsanitize=fuzzer $(ALL_LDFLAGS) -Itests/unit -Itests/fuzz -MMD -MP -MF $@.d -o $@ $< $(LIBRARY) \
	  $(ENGINE_LIBS) -lcmocka

fuzzers: $(FUZZ_TARGETS:%=$(BUILD)/fuzzer/%)

# Searches with each target for SECONDS; TARGETS="csv table" names some. What it finds stays in build/clang-fuzz/found.
fuzz:
	@$(MAKE) --no-print-directory BUILD=$(BUILD)/clang-fuzz CC=clang HARDENING= CFLAGS='$(FUZZ_FLAGS)' \
	  LDFLAGS='-fsanitize=address,undefined' fuzzers
	@sh tests/fuzz/search.sh $(BUILD)/clang-fuzz $(SECONDS) $(if $(TARGETS),$(TARGETS),$(FUZZ_TARGETS))

.PHONY: run-corpus fuzzers fuzz

-include $(FUZZ_RUNNERS:=.d) $(FUZZ_TARGETS:%=$(BUILD)/fuzzer/%.d)
