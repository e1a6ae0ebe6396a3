# oracle.mk - the reference programs over CGAL (header-only: a minute to compile, once, whatever the build) and
# OpenSubdiv.

CGAL_ORACLE := build/oracle/cgal_measures
oracles: $(CGAL_ORACLE)
$(CGAL_ORACLE): tests/oracle/cgal_measures.cpp
	@mkdir -p $(@D)
	$(CXX) -std=c++17 -O2 -DNDEBUG -o $@ $< -lgmp -lmpfr

OSD_ORACLE := build/oracle/opensubdiv_limits
oracles: $(OSD_ORACLE)
$(OSD_ORACLE): tests/oracle/opensubdiv_limits.cpp
	@mkdir -p $(@D)
	$(CXX) -std=c++17 -O2 -DNDEBUG -o $@ $< -losdCPU
