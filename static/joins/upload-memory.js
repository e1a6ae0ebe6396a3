// upload-memory.js - what was on its way is remembered in this browser until it has arrived, so that it can go on after the page was
// left. A lock is held for each by the page that sends it: another page takes it over only when that one is gone.
import { forgetSource, keepSource, readSource, sweepSources } from './upload-sources.js';

const PREFIX = 'fettle.upload.';
const held = new Map(); // id to the function that lets go of its lock
const sources = new Map(); // id to the source that is kept

/** Resolves when this page alone may go on with the upload; at once where the browser has no locks. */
function hold(id) {
  if (held.has(id) || !navigator.locks) return Promise.resolve();
  return new Promise((resolve) => {
    navigator.locks.request(PREFIX + id, () => {
      const letGo = new Promise((end) => held.set(id, end));
      resolve();
      return letGo;
    });
  });
}

function read(id) {
  try {
    return JSON.parse(localStorage.getItem(PREFIX + id));
  } catch {
    return null;
  }
}

function keys() {
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(PREFIX));
  } catch {
    return [];
  }
}

/** @param {object} kept  of rememberRow @param {object|null} source  where its file can be read again */
export function remember(kept, source) {
  rememberSource(kept.id, source);
  try {
    localStorage.setItem(PREFIX + kept.id, JSON.stringify(kept));
    hold(kept.id);
  } catch {
    // A browser that keeps nothing still sends; it only forgets.
  }
}

function rememberSource(id, source) {
  if (source === (sources.get(id) ?? null)) return;
  if (source === null) {
    sources.delete(id);
    forgetSource(id);
  } else {
    sources.set(id, source);
    keepSource(id, source);
  }
}

export function forget(id) {
  sources.delete(id);
  forgetSource(id);
  try {
    localStorage.removeItem(PREFIX + id);
  } catch {
    // Nothing was kept.
  }
  held.get(id)?.();
  held.delete(id);
}

/** @param {(kept: object, source: object|null) => void} take  gets each remembered upload that no other page goes on with, also later */
export function recall(take) {
  const ids = keys().map((key) => key.slice(PREFIX.length));
  sweepSources(ids);
  for (const id of ids)
    hold(id).then(async () => {
      const source = await readSource(id);
      const kept = read(id);
      if (kept === null) return forget(id);
      if (source !== null) sources.set(id, source);
      return take(kept, source);
    });
}

/** How many uploads wait for somebody to go on with them. */
export async function countRemembered() {
  const others = navigator.locks ? (await navigator.locks.query()).held.map((lock) => lock.name) : [];
  return keys().filter((key) => !others.includes(key)).length;
}
