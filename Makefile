# fettle - targets:
#   make            build the program and the page         BUILD=release (default) | debug | plain
#   make demo       install what is missing, build, make the demo collection, measure and serve it
#   make test       install what is missing, build, run every test      (SUITE=c|api|page|... for one kind)
#   make check      rooms, formatting, static analysis; what a change must pass besides the tests
#   make arm64      cross-build for arm64, run its unit tests and compare its records under qemu-user
#   make bench      timings against CGAL, Embree and VTK into build/bench.json and build/bench.md
#   make screenshots  pictures of every view into build/screenshots
#   make format     rewrite the C sources in the house format
#   make install    PREFIX=/usr/local

# as many jobs at once as cores; what make starts shares them
ifeq ($(MAKELEVEL),0)
MAKEFLAGS += -j$(shell nproc)
endif

BUILD   ?= release
OUT     := build/$(BUILD)
PREFIX  ?= /usr/local
CC      ?= gcc
VERSION := 0.1.0
COMMIT  := $(shell git describe --always --dirty --abbrev=12 2>/dev/null || echo unknown)

WARNINGS := -Wall -Wextra -Wshadow -Wconversion -Wvla -Wstrict-prototypes -Wmissing-prototypes -Werror
CPPFLAGS := -Iserver -D_GNU_SOURCE -DFETTLE_VERSION='"$(VERSION)"'
# Pango's headers alone: report/typeset.c loads the library when the first PDF is made
PANGO_CFLAGS := $(patsubst -I%,-isystem %,$(filter -I%,$(shell pkg-config --cflags pangocairo pangoft2 2>/dev/null)))
CFLAGS   := -std=c17 -ffp-contract=off -fno-math-errno -fno-trapping-math -pthread $(WARNINGS) -fstack-protector-strong -fPIE -fvisibility=hidden
LDFLAGS  := -pthread -pie -Wl,-z,relro,-z,now
LIBS     := -lmicrohttpd -ljansson -lsqlite3 -lhogweed -lnettle -lzstd -lz -lseccomp -lmeshoptimizer -lcairo -lm
ifeq ($(BUILD),plain)
# asserts but no sanitizers, for machines that are imitated
CPPFLAGS += -DFETTLE_TEST_HOOKS
CFLAGS   += -O2 -g1
else ifeq ($(BUILD),debug)
CPPFLAGS += -DFETTLE_TEST_HOOKS
CFLAGS   += -O1 -g -fsanitize=address,undefined -fno-sanitize-recover=undefined -fno-omit-frame-pointer
LDFLAGS  += -fsanitize=address,undefined
else
CFLAGS   += -O3 -g1 -DNDEBUG -D_FORTIFY_SOURCE=2 -fstack-clash-protection
endif

# ROOMS and OUT may be set to build and test a part of the program apart from the rest.
ROOMS   ?= base bag seal spec geom mesh io topology bvh subdiv measure picture run store json report handoff notify job http cli
SOURCES := $(sort $(foreach room,$(ROOMS),$(wildcard server/$(room)/*.c)))
OBJECTS := $(SOURCES:%.c=$(OUT)/%.o)
PROGRAM := $(OUT)/fettle
# everything but main, for the tests
LIBRARY := $(OUT)/libfettle.a

.PHONY: all demo test check bench screenshots format rooms install clean packages page
.DELETE_ON_ERROR:
all: $(PROGRAM) page

include $(wildcard deploy/*.mk tests/*.mk fixtures/*.mk static/*.mk)

$(OUT)/%.o: %.c
	@mkdir -p $(@D)
	@echo '  cc  $<'
	@$(CC) $(CPPFLAGS) $(CFLAGS) -MMD -MP -c $< -o $@

$(LIBRARY): $(filter-out $(OUT)/server/cli/main.o,$(OBJECTS))
	@rm -f $@
	@$(AR) rcs $@ $^

$(PROGRAM): $(OUT)/server/cli/main.o $(LIBRARY)
	@echo '  ld  $@'
	@$(CC) $(LDFLAGS) $^ $(LIBS) -o $@

# The commit is known to one object only, rebuilt when it changes.
$(OUT)/commit: FORCE
	@mkdir -p $(@D); echo '$(COMMIT)' | cmp -s - $@ || echo '$(COMMIT)' > $@
FORCE:
$(OUT)/server/run/version.o: CPPFLAGS += -DFETTLE_COMMIT='"$(COMMIT)"'
$(OUT)/server/run/version.o: $(OUT)/commit

$(OUT)/server/report/typeset.o: CPPFLAGS += $(PANGO_CFLAGS)

rooms:
	@awk -f tests/rooms.awk tests/rooms.txt server/*/*.[ch]

format:
	clang-format -i server/*/*.[ch] $(wildcard fixtures/*.[ch] tests/*/*.[ch])

clean:
	rm -rf build

-include $(OBJECTS:.o=.d)
