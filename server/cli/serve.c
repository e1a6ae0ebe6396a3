/* serve.c - fettle serve: the service over one data folder, until a signal ends it. */
#include "cli/commands.h"
#include "cli/options.h"
#include "http/log.h"
#include "http/server.h"
#include "job/control.h"
#include "job/scheduler.h"
#include "notify/notifier.h"
#include "store/store.h"

#include <limits.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { PORT_DEFAULT = 8787, WORKERS_MAX = 256 };

enum key {
    KEY_DATA = 1,
    KEY_PORT,
    KEY_ADDRESS,
    KEY_PAGE,
    KEY_WORKERS,
    KEY_MEMORY,
    KEY_LIMIT,
    KEY_ROUTES,
    KEY_HOOKS_PRIVATE,
    KEY_HOOKS_RETRY,
    KEY_HELP
};

static const struct option_spec specs[] = {
    {"--data", true, false, KEY_DATA},
    {"--port", true, false, KEY_PORT},
    {"--address", true, false, KEY_ADDRESS},
    {"--page", true, false, KEY_PAGE},
    {"--workers", true, false, KEY_WORKERS},
    {"--memory", true, false, KEY_MEMORY},
    {"--limit", true, true, KEY_LIMIT},
    {"--routes", false, false, KEY_ROUTES},
    {"--help", false, true, KEY_HELP},
    {"-h", false, true, KEY_HELP},
    {"--hooks-to-private-networks", false, false, KEY_HOOKS_PRIVATE},
    {"--hooks-retry-ms", true, false, KEY_HOOKS_RETRY},
};

/* What the arguments ask for. */
struct call {
    const char *data;
    struct http_settings http;
    struct scheduler_options scheduler;
    struct notifier_options notifier;
    bool routes, help;
    char page[PATH_MAX]; /* of the page, where it was not given */
};

static void print_help(void)
{
    fputs("usage: fettle serve --data DIR [OPTIONS]\n"
          "\n"
          "Serves the page and the API over the data folder DIR, which is made when it is not there. The "
          "address\n"
          "is the first line on standard output; events are JSON lines on standard error. SIGTERM or SIGINT "
          "end\n"
          "it in order: what was acknowledged is kept, running jobs go back into the queue.\n"
          "\n"
          "  --port N            port to listen on (default 8787; 0: any free one)\n"
          "  --address A         127.0.0.1 (default), ::1 or localhost; others need accounts, which are not\n"
          "                      there yet\n"
          "  --page DIR          the page's files (default: the folder `page` beside the program, else\n"
          "                      ../share/fettle/page)\n"
          "  --workers N         jobs measured at once (default: one per core)\n"
          "  --memory MIB        memory that running jobs may need together (default: three quarters)\n"
          "  --limit NAME=VALUE  set one of the limits that GET /api/v1/limits lists; may be repeated\n"
          "  --hooks-to-private-networks\n"
          "                      hooks may lead to this machine and into private networks; without it they "
          "may\n"
          "                      not: who adds a hook must not reach through this service what he cannot "
          "reach\n"
          "                      himself\n"
          "  --hooks-retry-ms N  first wait before a hook is tried again (default 5000); it doubles each "
          "time\n",
          stdout);
}

static bool take_option(struct call *call, int key, const char *value, struct error *err)
{
    size_t number = 0;
    switch (key) {
    case KEY_DATA:
        call->data = value;
        return true;
    case KEY_PORT:
        if (!option_integer("--port", value, 0, UINT16_MAX, &number, err))
            return false;
        call->http.port = (uint16_t)number;
        return true;
    case KEY_ADDRESS:
        call->http.address = value;
        return true;
    case KEY_PAGE:
        call->http.page_folder = value;
        return true;
    case KEY_WORKERS:
        return option_integer("--workers", value, 1, WORKERS_MAX, &call->scheduler.workers, err);
    case KEY_MEMORY:
        if (!option_integer("--memory", value, 64, (size_t)1 << 30, &number, err))
            return false;
        call->scheduler.memory_bytes = (uint64_t)number << 20;
        return true;
    case KEY_LIMIT:
        return http_limits_set(&call->http.limits, value, err);
    case KEY_HOOKS_PRIVATE:
        call->notifier.to_private = true;
        return true;
    case KEY_HOOKS_RETRY:
        if (!option_integer("--hooks-retry-ms", value, 1, 3600000, &number, err))
            return false;
        call->notifier.first_retry_ms = (int64_t)number;
        return true;
    case KEY_ROUTES:
        call->routes = true;
        return true;
    case KEY_HELP:
        call->help = true;
        return true;
    case OPTION_OPERAND:
        return error_set(err, ERROR_USAGE, "serve takes no operand, but got '%s'", value);
    default:
        return false; /* options_next has filled err */
    }
}

static bool read_arguments(int argc, char **argv, struct call *call, struct error *err)
{
    struct options options = options_begin(specs, sizeof specs / sizeof specs[0], argc, argv);
    const char *value;
    *call = (struct call){
        .http = {.address = "127.0.0.1", .port = PORT_DEFAULT, .limits = http_limits_default()}};
    for (int key; (key = options_next(&options, &value, err)) != OPTION_END;)
        if (!take_option(call, key, value, err))
            return false;
    return call->data || call->routes || call->help || error_set(err, ERROR_USAGE, "--data DIR is missing");
}

/* The page beside the program or under its prefix; NULL with a message where there is none. */
static const char *find_page(char folder[PATH_MAX])
{
    static const char *const places[] = {"page", "../share/fettle/page"};
    char program[PATH_MAX], index[PATH_MAX + 16];
    ssize_t size = readlink("/proc/self/exe", program, sizeof program - 1);
    if (size > 0) {
        program[size] = '\0';
        *strrchr(program, '/') = '\0';
        for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
            if (snprintf(folder, PATH_MAX, "%s/%s", program, places[i]) >= PATH_MAX)
                continue;
            snprintf(index, sizeof index, "%s/index.html", folder);
            if (!access(index, R_OK))
                return folder;
        }
    }
    fputs("fettle: the page is not beside the program, so only the API is served; `make page` makes it, "
          "--page DIR names it\n",
          stderr);
    return NULL;
}

/* Everything that is open while the service runs. */
struct open_service {
    struct store *store;
    struct service *http;
    struct scheduler *scheduler;
    struct control *control;
    struct notifier *notifier;
};

/* A server that was killed while it started a worker leaves its lock to that child for a few milliseconds. */
static bool open_store(const char *folder, const struct store_options *options, struct store **store,
                       struct error *err)
{
    for (int tries = 0; tries < 40; tries++) {
        if (store_open(folder, true, options, store, err))
            return true;
        if (err->code != ERROR_BUSY)
            return false;
        nanosleep(&(struct timespec){0, 25 * 1000000L}, NULL);
    }
    return false;
}

static bool start(const struct call *call, struct open_service *open, struct error *err)
{
    struct store_options options = scheduler_store_options();
    options.queue_max = (size_t)call->http.limits.queued_jobs;
    options.reserve_bytes = call->http.limits.disk_keep_bytes;
    options.parts_max = (size_t)call->http.limits.unfinished_uploads;
    options.part_keep_s = (int64_t)call->http.limits.upload_keep_s;
    options.background_check = true;
    return open_store(call->data, &options, &open->store, err)
           && http_server_open(&call->http, open->store, &open->http, err)
           && scheduler_start(open->store, &call->scheduler, &open->scheduler, err)
           && control_start(open->store, &open->control, err)
           && notifier_start(open->store, &call->notifier, &open->notifier, err)
           && http_server_start(open->http, &call->http, open->scheduler, err);
}

static void stop(struct open_service *open)
{
    if (open->http)
        http_server_stop(open->http);
    if (open->control)
        control_stop(open->control);
    if (open->scheduler)
        scheduler_stop(open->scheduler);
    if (open->notifier)
        notifier_stop(open->notifier);
    if (open->http)
        http_server_close(open->http);
    if (open->store)
        store_close(open->store);
}

static int run(struct call *call)
{
    struct open_service open = {0};
    struct error err;
    sigset_t ends;
    int signal_number = 0, status = CLI_DONE;

    /* Blocked in every thread, so that only sigwait below takes them. */
    sigemptyset(&ends);
    sigaddset(&ends, SIGTERM);
    sigaddset(&ends, SIGINT);
    pthread_sigmask(SIG_BLOCK, &ends, NULL);
    if (!call->http.page_folder)
        call->http.page_folder = find_page(call->page);
    if (start(call, &open, &err)) {
        printf("%s\n", http_server_address(open.http));
        fflush(stdout);
        log_event("started", "address", http_server_address(open.http));
        sigwait(&ends, &signal_number);
        log_event("stopping", "signal", signal_number == SIGINT ? "SIGINT" : "SIGTERM");
    } else {
        status = cli_fail(&err);
    }
    stop(&open);
    if (status == CLI_DONE)
        log_event("stopped", "status", "0");
    return status;
}

int cli_serve(int argc, char **argv)
{
    struct call call;
    struct error err;
    if (!read_arguments(argc, argv, &call, &err))
        return cli_fail_usage("serve", &err);
    if (call.help) {
        print_help();
        return cli_finish_output();
    }
    if (call.routes) {
        http_routes_print();
        return cli_finish_output();
    }
    return run(&call);
}
