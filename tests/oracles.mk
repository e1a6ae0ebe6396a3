# oracles.mk - small programs that print what fettle computes, for comparison with reference libraries.
#   make oracles    every program beside tests/oracle/*.c and *.cpp, into the build folder

ORACLES := $(patsubst tests/oracle/%.c,$(OUT)/%,$(wildcard tests/oracle/*.c))
.PHONY: oracles
oracles: $(ORACLES)
# soups are shared with the unit tests
$(OUT)/soup_maxima: $(patsubst %,$(OUT)/tests/measure/soup_%.o,pair truth shrink)
$(ORACLES): $(OUT)/%: $(OUT)/tests/oracle/%.o $(LIBRARY)
	@echo '  ld  $@'
	@$(CC) $(LDFLAGS) $(filter %.o,$^) $(LIBRARY) $(LIBS) -o $@
nodetest: oracles
# The reference programs themselves, over CGAL (header-only: a minute each to compile, once, whatever the build) and
# OpenSubdiv.

CGAL_ORACLES := build/oracle/cgal_measures build/oracle/cgal_mend
oracles: $(CGAL_ORACLES)
$(CGAL_ORACLES): build/oracle/%: tests/oracle/%.cpp
	@mkdir -p $(@D)
	$(CXX) -std=c++17 -O2 -DNDEBUG -o $@ $< -lgmp -lmpfr

OSD_ORACLE := build/oracle/opensubdiv_limits
oracles: $(OSD_ORACLE)
$(OSD_ORACLE): tests/oracle/opensubdiv_limits.cpp
	@mkdir -p $(@D)
	$(CXX) -std=c++17 -O2 -DNDEBUG -o $@ $< -losdCPU
