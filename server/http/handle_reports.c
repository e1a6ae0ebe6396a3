/* handle_reports.c - the report of an audit, made when it is asked for. */
#include "http/handlers.h"
#include "http/request.h"

#include "report/audit_report.h"
#include "report/html.h"
#include "store/audits.h"

#include <stdio.h>

/* What a report is called where it is saved. */
static bool name_report(struct request *request, enum report_form form, struct arena *keep, char *name,
                        size_t size, struct error *err)
{
    struct store_audit audit;
    if (!store_audit_get(request->service->store, request->path_id, keep, &audit, err))
        return false;
    snprintf(name, size, "%.128s_%s_%lld_audit_%lld.%s", audit.catalogue_number, audit.kind,
             (long long)audit.number, (long long)audit.id, report_form_word(form));
    return true;
}

bool handle_audit_report(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    const char *word = request_parameter(request, "format");
    enum report_form form;
    char name[200], *bytes;
    size_t size;
    if (!report_form_parse(word ? word : "pdf", &form, err)
        || !name_report(request, form, keep, name, sizeof name, err)
        || !audit_report_write(request->service->store, request->path_id, &request->service->measures, form,
                               &bytes, &size, err))
        return false;
    reply_text(reply, 200, form == REPORT_PDF ? "application/pdf" : "text/html; charset=utf-8", bytes, size);
    etag_of_bytes(bytes, size, reply->etag);
    if (form == REPORT_HTML)
        reply->policy = "sandbox; frame-ancestors 'none'; " HTML_POLICY;
    reply_disposition(reply, form == REPORT_PDF ? "attachment" : "inline", name);
    return true;
}
