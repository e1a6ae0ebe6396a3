// digest-worker.js - the SHA-256 of a file, read in pieces, so that neither the page waits nor the file is held in memory.
//   in: a File.  out: { done } bytes seen, again and again; then { digest } in hex, or { fault } where the file cannot be read.
import { sha256 } from '@noble/hashes/sha2.js';

const PIECE = 1024 * 1024;
const TOLD = 8 * PIECE; // bytes between two messages

self.addEventListener('message', async ({ data: file }) => {
  try {
    const hash = sha256.create();
    let done = 0;
    for await (const piece of piecesOf(file)) {
      hash.update(piece);
      if (Math.floor((done + piece.length) / TOLD) > Math.floor(done / TOLD)) self.postMessage({ done });
      done += piece.length;
    }
    if (done !== file.size) throw new Error('the file ended early');
    self.postMessage({ digest: [...hash.digest()].map((byte) => byte.toString(16).padStart(2, '0')).join('') });
  } catch (fault) {
    self.postMessage({ fault: fault.message });
  }
});

/** The bytes of a file, in one buffer again and again where the browser can do that: less to be cleared away. */
async function* piecesOf(file) {
  const reader = readerOf(file.stream());
  let buffer = new ArrayBuffer(PIECE);
  for (;;) {
    const { value, done } = await reader.read(new Uint8Array(buffer));
    if (done) return;
    yield value;
    buffer = value.buffer;
  }
}

function readerOf(stream) {
  try {
    return stream.getReader({ mode: 'byob' });
  } catch {
    return stream.getReader(); // which takes no buffer
  }
}
