# schema.mk - the migrations schema/NNNN_*.sql become one object, so that the program carries its own schema.
ifneq ($(filter store,$(ROOMS)),)
MIGRATIONS := $(sort $(wildcard schema/[0-9][0-9][0-9][0-9]_*.sql))
OBJECTS    += $(OUT)/schema.o

$(OUT)/schema.c: $(MIGRATIONS) deploy/schema.awk
	@mkdir -p $(@D)
	awk -f deploy/schema.awk $(MIGRATIONS) > $@

$(OUT)/schema.o: $(OUT)/schema.c
	$(CC) $(CPPFLAGS) $(CFLAGS) -MMD -MP -c $< -o $@
endif
