// digest-worker.js - the SHA-256 of a file, read in pieces, so that neither the page waits nor the file is held in memory.
//   in: a File.  out: { done } bytes seen, again and again; then { digest } in hex, or { fault } where the file cannot be read.
import { sha256 } from '@noble/hashes/sha2.js';

const PIECE = 4 * 1024 * 1024;

self.addEventListener('message', async ({ data: file }) => {
  try {
    const hash = sha256.create();
    for (let at = 0; at < file.size; at += PIECE) {
      hash.update(new Uint8Array(await file.slice(at, at + PIECE).arrayBuffer()));
      self.postMessage({ done: Math.min(file.size, at + PIECE) });
    }
    self.postMessage({ digest: [...hash.digest()].map((byte) => byte.toString(16).padStart(2, '0')).join('') });
  } catch (fault) {
    self.postMessage({ fault: fault.message });
  }
});
