# specs.mk - server/json/spec_builtin.c carries schema/specs/*.json, so it is made anew when one changes.
$(OUT)/server/json/spec_builtin.o: $(wildcard schema/specs/*.json)
