# oracles.mk - small programs that print what fettle computes, for comparison with reference libraries.
#   make oracles    every program beside tests/oracle/*.c, into the build folder

ORACLES := $(patsubst tests/oracle/%.c,$(OUT)/%,$(wildcard tests/oracle/*.c))
.PHONY: oracles
oracles: $(ORACLES)
$(ORACLES): $(OUT)/%: $(OUT)/tests/oracle/%.o $(LIBRARY)
	@echo '  ld  $@'
	@$(CC) $(LDFLAGS) $^ $(LIBS) -o $@
nodetest: oracles
