# tests.mk - how tests are built and run; included by the Makefile.
#   make unit                     every Criterion test under the sanitizers
#   make unit ROOMS="base mesh io" OUT=build/mine    only what these rooms need, in a folder of its own
#   make nodetest SUITE=api       the node tests of one folder of tests/ (cli, api, page, oracle, ...)

UNIT_SOURCES := $(sort $(foreach room,$(ROOMS),$(wildcard tests/$(room)/*.c)) $(wildcard tests/support/*.c))
UNIT_OBJECTS := $(UNIT_SOURCES:%.c=$(OUT)/%.o)
UNIT         := $(OUT)/unit-tests
-include $(UNIT_OBJECTS:.o=.d)

# Criterion 2.4.1's macros do not compile under -Wconversion; tests have no headers of their own to declare.
$(OUT)/tests/%.o: CFLAGS += -Wno-conversion -Wno-sign-conversion -Wno-missing-prototypes -Itests
$(UNIT): $(UNIT_OBJECTS) $(LIBRARY)
	$(CC) $(LDFLAGS) $^ -lcriterion $(LIBS) -o $@

.PHONY: unit unit-run nodetest
unit:
	@$(MAKE) --no-print-directory BUILD=debug unit-run
unit-run: $(UNIT)
	$(UNIT) $(UNIT_FLAGS)

tests/node_modules: tests/package.json tests/package-lock.json
	cd tests && npm ci --no-audit --no-fund --ignore-scripts && touch node_modules
SUITE ?= cli api page oracle
nodetest: all tests/node_modules
	FETTLE=$(abspath $(PROGRAM)) node --test --test-concurrency=1 $(foreach suite,$(SUITE),$(wildcard tests/$(suite)/*.test.mjs))
