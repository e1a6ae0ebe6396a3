# openapi.mk - server/http/handle_service.c carries schema/openapi.json, so it is made anew when that changes.
$(OUT)/server/http/handle_service.o: schema/openapi.json
