/* transaction.c - the one writer, the pool of readers, and telling what changed. */
#include "store/inside.h"

#include <stdlib.h>
#include <string.h>

static struct timespec deadline(const struct store *store)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    time.tv_sec += (time_t)(store->options.busy_ms / 1000);
    time.tv_nsec += (long)(store->options.busy_ms % 1000) * 1000000;
    if (time.tv_nsec >= 1000000000) {
        time.tv_sec++;
        time.tv_nsec -= 1000000000;
    }
    return time;
}

/* False when others hold it for longer than the busy timeout. */
static bool take_writer(struct store *store)
{
    struct timespec until = deadline(store);
    int rc = 0;
    pthread_mutex_lock(&store->write_lock);
    while (store->writer.taken && rc == 0)
        rc = pthread_cond_timedwait(&store->writer_free, &store->write_lock, &until);
    bool taken = !store->writer.taken;
    store->writer.taken = true;
    pthread_mutex_unlock(&store->write_lock);
    return taken;
}

static void give_writer_back(struct store *store)
{
    pthread_mutex_lock(&store->write_lock);
    store->writer.taken = false;
    pthread_cond_signal(&store->writer_free);
    pthread_mutex_unlock(&store->write_lock);
}

bool write_begin(struct store *store, struct write *write, struct error *err)
{
    memset(write, 0, sizeof *write);
    write->store = store;
    write->connection = &store->writer;
    if (!store_writable(store, err))
        return false;
    if (!take_writer(store))
        return error_set(err, ERROR_BUSY, "other changes are still being written; try again in a moment");
    if (!connection_exec(&store->writer, "BEGIN IMMEDIATE", err)) {
        give_writer_back(store);
        return false;
    }
    pthread_mutex_lock(&store->state_lock);
    write->revision = ++store->revision;
    pthread_mutex_unlock(&store->state_lock);
    store_time_now(write->now);
    return true;
}

static bool commit(struct write *write, struct error *err)
{
    static const char keep_revision[] = "UPDATE counter SET revision = ?1";
    return statement_run(write->connection, keep_revision, NULL, err, "i", write->revision)
           && connection_exec(write->connection, "COMMIT", err);
}

static void tell_listeners(const struct write *write)
{
    for (size_t i = 0; i < write->change_count; i++)
        for (size_t l = 0; l < write->store->listener_count; l++)
            write->store->listeners[l].call(write->store->listeners[l].context, &write->changes[i]);
}

bool write_end(struct write *write, bool ok, struct error *err)
{
    struct store *store = write->store;

    if (ok && write->failed_to_note)
        ok = error_set(err, ERROR_MACHINE, "out of memory: nothing was changed; try again");
    ok = ok && commit(write, err);
    if (!ok && !sqlite3_get_autocommit(write->connection->db))
        sqlite3_exec(write->connection->db, "ROLLBACK", NULL, NULL, NULL);
    int damage = store->damage;
    give_writer_back(store);
    if (damage)
        store_spoil(store, "the database could not be written safely; stop the server and run fettle verify",
                    NULL);
    if (ok)
        tell_listeners(write);
    free(write->changes);
    write->changes = NULL;
    return ok;
}

void write_note(struct write *write, enum store_change_kind kind, int64_t id, int64_t specimen,
                int64_t version)
{
    for (size_t i = 0; i < write->change_count; i++)
        if (write->changes[i].kind == kind && write->changes[i].id == id)
            return;
    if (write->change_count == write->change_room) {
        size_t room = write->change_room ? 2 * write->change_room : 8;
        struct store_change *grown = realloc(write->changes, room * sizeof *grown);
        if (!grown) {
            write->failed_to_note = true;
            return;
        }
        write->changes = grown;
        write->change_room = room;
    }
    write->changes[write->change_count++] = (struct store_change){
        .kind = kind, .id = id, .specimen = specimen, .version = version, .revision = write->revision};
}

static struct connection *free_reader(struct store *store)
{
    for (size_t i = 0; i < store->reader_count; i++)
        if (!store->readers[i].taken)
            return &store->readers[i];
    return NULL;
}

bool read_begin(struct store *store, struct connection **connection, struct error *err)
{
    struct timespec until = deadline(store);
    struct connection *reader = NULL;
    int rc = 0;

    pthread_mutex_lock(&store->read_lock);
    while (!(reader = free_reader(store)) && rc == 0)
        rc = pthread_cond_timedwait(&store->reader_free, &store->read_lock, &until);
    if (reader)
        reader->taken = true;
    pthread_mutex_unlock(&store->read_lock);
    if (!reader)
        return error_set(err, ERROR_BUSY, "too many requests are being answered; try again in a moment");
    if (!connection_exec(reader, "BEGIN", err)) {
        read_end(store, reader);
        return false;
    }
    *connection = reader;
    return true;
}

void read_end(struct store *store, struct connection *connection)
{
    if (!sqlite3_get_autocommit(connection->db))
        sqlite3_exec(connection->db, "COMMIT", NULL, NULL, NULL);
    pthread_mutex_lock(&store->read_lock);
    connection->taken = false;
    pthread_cond_signal(&store->reader_free);
    pthread_mutex_unlock(&store->read_lock);
}
