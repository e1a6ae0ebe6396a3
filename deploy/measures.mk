# measures.mk - server/json/measures.c carries schema/measures.json, so it is made anew when that changes.
$(OUT)/server/json/measures.o: schema/measures.json
