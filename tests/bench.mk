# bench.mk - our distances against those of Debian's CGAL, Embree and VTK, our own stages as meshes grow, and the page.
#   make bench     BENCH="pairs scale readers mend page" SIZES=268000- RUNS=5 LIMIT=60: see tests/bench/bench.mjs
# Installs the packages of the group bench. Let nothing else run meanwhile. Writes build/bench.json, build/bench.md.

BENCH_PROGRAMS := $(OUT)/bench-pairs $(OUT)/bench-readers $(OUT)/bench-embree $(OUT)/bench-cgal
-include $(patsubst %.c,$(OUT)/%.d,$(wildcard tests/bench/*.c))

$(OUT)/tests/bench/%.o: CPPFLAGS += -I.
$(OUT)/bench-pairs: $(OUT)/tests/bench/pairs.o \
                    $(patsubst %.c,$(OUT)/%.o,$(filter-out fixtures/main.c,$(wildcard fixtures/*.c))) $(LIBRARY)
	@echo '  ld  $@'
	@$(CC) $(LDFLAGS) $^ $(LIBS) -o $@
$(OUT)/bench-readers: $(OUT)/tests/bench/readers.o $(LIBRARY)
	@echo '  ld  $@'
	@$(CC) $(LDFLAGS) $^ $(LIBS) -o $@
$(OUT)/bench-embree: $(OUT)/tests/bench/embree.o $(OUT)/tests/bench/peer.o $(LIBRARY)
	@echo '  ld  $@'
	@$(CC) $(LDFLAGS) $^ $(LIBS) -lembree3 -o $@
# header-only: a minute or two to compile
$(OUT)/bench-cgal: tests/bench/cgal.cpp tests/bench/peer.h $(OUT)/tests/bench/peer.o $(LIBRARY)
	@echo '  c++ $<'
	@$(CXX) -std=c++17 -O3 -DNDEBUG -I. -DCGAL_LINKED_WITH_TBB -DCGAL_METIS_ENABLED $< $(OUT)/tests/bench/peer.o \
	    $(LDFLAGS) $(LIBRARY) $(LIBS) -ltbb -lmetis -lgmp -lmpfr -o $@

.PHONY: bench
bench: packages-bench tests/node_modules
	@$(MAKE) --no-print-directory BUILD=release all bench-programs
	@FETTLE=$(abspath build/release/fettle) BENCH_BIN=$(abspath build/release) node tests/bench/bench.mjs
.PHONY: bench-programs
bench-programs: $(BENCH_PROGRAMS)
