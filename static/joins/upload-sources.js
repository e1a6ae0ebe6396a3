// upload-sources.js - where a file on its way can be read again: handles of the File System Access API, kept by this browser alone
// (IndexedDB) until the file has arrived or was cancelled, a week at most. They are never sent. A browser that keeps nothing forgets
// them, and asks for the file.

const NAME = 'fettle';
const STORE = 'sources';
const KEPT_MS = 7 * 24 * 3600 * 1000; // as long as the server keeps what has arrived

let opened = null;
function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(STORE, { keyPath: 'id' });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  return opened;
}

/** What `does` asks of the store; null where the browser does not let us. */
async function inStore(mode, does) {
  try {
    const store = (await open()).transaction(STORE, mode).objectStore(STORE);
    return await new Promise((resolve, reject) => {
      const request = does(store);
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
  } catch {
    return null;
  }
}

const isOld = ({ kept }) => !(Date.now() - kept < KEPT_MS);

/** @param {{ root: FileSystemHandle, way: string[] }} source  of dropped-files.js */
export function keepSource(id, { root, way }) {
  return inStore('readwrite', (store) => store.put({ id, root, way, kept: Date.now() }));
}

export function forgetSource(id) {
  return inStore('readwrite', (store) => store.delete(id));
}

/** The source kept for an upload, or null. */
export async function readSource(id) {
  const found = await inStore('readonly', (store) => store.get(id));
  return found && !isOld(found) ? { root: found.root, way: found.way } : null;
}

/** Forgets what is a week old, and what no upload in `ids` is waiting for. */
export async function sweepSources(ids) {
  const all = (await inStore('readonly', (store) => store.getAll())) ?? [];
  await Promise.all(all.filter((each) => isOld(each) || !ids.includes(each.id)).map(({ id }) => forgetSource(id)));
}
