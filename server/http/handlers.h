/* handlers.h - what each route does: handle_*.c, one file a subject. */
#ifndef HTTP_HANDLERS_H
#define HTTP_HANDLERS_H

#include "http/route.h"

route_handler handle_health, handle_metrics, handle_limits, handle_measures, handle_openapi;
route_handler handle_specimen_list, handle_specimen_create, handle_specimen_read, handle_specimen_change;
route_handler handle_version_list, handle_version_find, handle_version_read, handle_version_change,
    handle_version_file, handle_version_surface, handle_version_thumbnail;
route_handler prepare_upload, handle_upload;
route_handler handle_part_options, prepare_part_create, handle_part_create, handle_part_head,
    handle_part_read, prepare_part_piece, handle_part_piece, handle_part_remove;
route_handler handle_run_list, handle_run_start, handle_run_read, handle_run_findings, handle_run_field;
route_handler handle_compare;
route_handler handle_job_list, handle_job_read, handle_job_cancel, handle_job_retry;
route_handler handle_spec_list, handle_spec_add, handle_spec_read, handle_spec_what_if;
route_handler handle_audit_list, handle_audit_make, handle_audit_read, handle_audit_report;
route_handler handle_waiver_list, handle_waiver_add, handle_waiver_withdraw;
route_handler handle_sign_off_list, handle_sign_off_make, handle_sign_off_read, handle_sign_off_statement,
    handle_key, handle_log, handle_specimen_log;
route_handler handle_events;

#endif
