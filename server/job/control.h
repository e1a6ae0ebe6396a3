/* control.h - the local socket DATA/control by which `fettle backup`, `fettle remeasure`, `fettle handoff`
 * and `fettle sign-off` ask a running server; only the same user may connect. One request a connection, lines
 * of text, the destination of a backup as an open folder descriptor. */
#ifndef JOB_CONTROL_H
#define JOB_CONTROL_H

#include "store/store.h"

struct control;
/* The server's side: listens in a thread of its own. */
bool control_start(struct store *store, struct control **control, struct error *err);
void control_stop(struct control *control);

/* The other side. *reached is false where no server has the folder open (err says so too). pass_fd: -1 for
 * none. The answer is "ok" with what follows in answer, or an error, which fills err. */
bool control_ask(const char *folder, const char *request, int pass_fd, bool *reached, char *answer,
                 size_t answer_size, struct error *err);

#endif
