# tests.mk - how tests are built and run; included by the Makefile.
#   make unit                     every Criterion test under the sanitizers
#   make unit ROOMS="base mesh io" OUT=build/mine    only what these rooms need, in a folder of its own
#   make nodetest SUITE=api       the node tests of one folder of tests/ (cli, api, page, oracle, ...)

# what only tests of the room named, and of those above, can link
UNIT_UNLINKED := $(if $(filter measure,$(ROOMS)),,tests/support/fixture_measured.c) \
                 $(if $(filter io,$(ROOMS)),,tests/support/fixture_sample.c)
# UNIT_ROOMS may name fewer than ROOMS: tests of some rooms, with the whole library
UNIT_ROOMS   ?= $(ROOMS)
UNIT_SOURCES := $(sort $(foreach room,$(UNIT_ROOMS),$(wildcard tests/$(room)/*.c)) \
                  $(filter-out $(UNIT_UNLINKED),$(wildcard tests/support/*.c)) $(UNIT_EXTRA))
UNIT_OBJECTS := $(UNIT_SOURCES:%.c=$(OUT)/%.o)
UNIT         := $(OUT)/unit-tests
-include $(UNIT_OBJECTS:.o=.d)

# Criterion 2.4.1's macros do not compile under -Wconversion; tests have no headers of their own to declare.
$(OUT)/tests/%.o: CFLAGS += -Wno-conversion -Wno-sign-conversion -Wno-missing-prototypes -Itests
$(UNIT): $(UNIT_OBJECTS) $(LIBRARY)
	@echo '  ld  $@'
	@$(CC) $(LDFLAGS) $^ -lcriterion $(LIBS) -o $@

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

# The whole: packages, both builds, then tests/run.sh; its last line counts every test.
.PHONY: test test-build
test: packages-test
	@$(MAKE) --no-print-directory test-build
	@tests/run.sh build/debug/unit-tests $(abspath build/release/fettle) $(abspath build/debug/fettle) $(SUITES)
test-build: tests/node_modules
	$(MAKE) --no-print-directory BUILD=release all fixtures oracles
	$(MAKE) --no-print-directory BUILD=debug all build/debug/unit-tests

# What a change must pass besides the tests. clang-tidy reads a few files a process, as many at once as cores;
# TIDY_MODE=shallow looks less far along the paths of a function, in a fifth of the time.
TIDY_MODE ?= deep
.PHONY: check format-check tidy cppcheck eslint
check: packages-test
	@$(MAKE) --no-print-directory rooms format-check cppcheck tidy eslint
C_FILES = $(wildcard server/*/*.[ch] fixtures/*.[ch] tests/*/*.[ch])
format-check:
	@clang-format --dry-run --Werror $(C_FILES) && echo "format: every C file is in the house format"
tidy: $(OUT)/schema.c
	@printf '%s\n' $(wildcard server/*/*.c) | xargs -P $$(nproc) -n 4 sh -c \
	    'clang-tidy --quiet --extra-arg=-Xclang --extra-arg=-analyzer-config --extra-arg=-Xclang --extra-arg=mode=$(TIDY_MODE) "$$@" -- -std=c17 -Iserver $(PANGO_CFLAGS) -D_GNU_SOURCE -DFETTLE_VERSION=\"\" -DFETTLE_COMMIT=\"\" 2>/dev/null' tidy && echo "clang-tidy: nothing to report"
eslint: tests/node_modules
	@tests/node_modules/.bin/eslint -c tests/eslint.config.js static tests && echo "eslint: every name is known"
cppcheck:
	@cppcheck --quiet --std=c11 --enable=warning,portability,performance --inline-suppr --error-exitcode=1 \
	    --suppress=missingIncludeSystem --suppress=normalCheckLevelMaxBranches -j $$(nproc) \
	    -Iserver -D_GNU_SOURCE server && echo "cppcheck: nothing to report"

# The program and the unit tests of the rooms from base to measure for arm64, run under qemu-user; records and reports
# of both machines must be the same bytes, and neither program may hold a fused multiply-add. Built without vectors by -O2:
# gcc 12's cross compiler fails on some at -O3. qemu takes ten to forty times as long as the machine itself: hence
# the time each test is given, and ARM64_SHARE: long tests do one in so many of their cases (support/fixture_share.h).
# ARM64_SHARE=1 does all of them, in hours.
ARM64_ROOT     := $(CURDIR)/build/arm64/root
ARM64_PACKAGES := libc6-dev nettle-dev zlib1g-dev libzstd-dev libjansson-dev libsqlite3-dev libmicrohttpd-dev \
                  libseccomp-dev libmeshoptimizer-dev libcairo2-dev libpango1.0-dev libcurl4-openssl-dev libcriterion-dev
# what pkg-config says must be of that root, not of this machine
ARM64_PKGCONFIG := PKG_CONFIG_SYSROOT_DIR=$(ARM64_ROOT) \
                   PKG_CONFIG_LIBDIR=$(ARM64_ROOT)/usr/lib/aarch64-linux-gnu/pkgconfig:$(ARM64_ROOT)/usr/share/pkgconfig
ARM64_MAKE      = $(ARM64_PKGCONFIG) $(MAKE) --no-print-directory BUILD=plain OUT=build/arm64/all \
                  CC="aarch64-linux-gnu-gcc --sysroot=$(ARM64_ROOT)" AR=aarch64-linux-gnu-ar
ARM64_RUN      := qemu-aarch64-static -L $(ARM64_ROOT)
ARM64_SHARE    ?= 10
ARM64_ROOMS    := base geom mesh io topology bvh subdiv measure
.PHONY: arm64
arm64: packages-arm64
	@sh deploy/arm64-root.sh $(ARM64_ROOT) $(ARM64_PACKAGES)
	+@$(ARM64_MAKE) UNIT_ROOMS="$(ARM64_ROOMS)" UNIT_EXTRA=tests/arm64/qemu_exec.c \
	    build/arm64/all/fettle build/arm64/all/unit-tests
	@$(MAKE) --no-print-directory BUILD=release build/release/fettle tests/node_modules
	FETTLE=$(abspath build/arm64/all/fettle) OBJDUMP=aarch64-linux-gnu-objdump node --test tests/cli/fused.test.mjs
	FETTLE=$(abspath build/release/fettle) FETTLE_ARM64="$(ARM64_RUN) $(abspath build/arm64/all/fettle)" \
	    node --test --test-concurrency=1 tests/arm64/records.test.mjs tests/arm64/documents.test.mjs
	FETTLE_TEST_SHARE=$(ARM64_SHARE) QEMU_RUN="/usr/bin/$(ARM64_RUN)" $(ARM64_RUN) build/arm64/all/unit-tests -j1 --timeout 3000
