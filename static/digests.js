// digests.js - computes the digests of files beside the page, one after the other.

export function Digests() {
  const queue = [];
  let running = null;
  let worker = null;

  function next() {
    if (running !== null || queue.length === 0) return;
    running = queue.shift();
    worker ??= startWorker();
    worker.postMessage(running.file);
  }

  function startWorker() {
    const started = new Worker(new URL('./digest-worker.js', import.meta.url), { type: 'module' });
    started.addEventListener('message', ({ data }) => {
      if (data.done !== undefined) running.progress(data.done);
      else if (data.digest !== undefined) end(running.resolve, data.digest);
      else end(running.reject, new Error(data.fault));
    });
    started.addEventListener('error', (event) => end(running?.reject ?? (() => {}), new Error(event.message ?? 'the worker did not start')));
    return started;
  }

  function end(settle, value) {
    running = null;
    settle(value);
    next();
  }

  return {
    /**
     * @param {string} id  by which it can be dropped again
     * @param {{ progress: (bytes: number) => void, first?: boolean }} options  `first`: before all that wait
     * @returns {Promise<string>} the digest in hex
     */
    ask(id, file, { progress, first = false }) {
      return new Promise((resolve, reject) => {
        queue[first ? 'unshift' : 'push']({ id, file, progress, resolve, reject });
        next();
      });
    },
    /** Nobody wants this one any longer; its promise never settles. */
    drop(id) {
      const at = queue.findIndex((each) => each.id === id);
      if (at >= 0) queue.splice(at, 1);
      if (running?.id !== id) return;
      worker.terminate();
      worker = null;
      end(() => {});
    },
  };
}
