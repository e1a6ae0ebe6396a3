# oracle.mk - the reference program over CGAL (header-only: a minute to compile, once, whatever the build).

CGAL_ORACLE := build/oracle/cgal_measures
oracles: $(CGAL_ORACLE)
$(CGAL_ORACLE): tests/oracle/cgal_measures.cpp
	@mkdir -p $(@D)
	$(CXX) -std=c++17 -O2 -DNDEBUG -o $@ $< -lgmp -lmpfr
