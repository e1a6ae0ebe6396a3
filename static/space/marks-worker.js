// marks-worker.js - finds the marks of one surface beside the page. message in: the surface's triangles, faces and counts, `most`.
//   out: { sides: Uint32Array, ...findMarks }
import { findMarks } from './marks.js';
import { faceSides } from './surface.js';

self.addEventListener('message', ({ data }) => {
  const sides = faceSides(data);
  const found = findMarks(data, sides, data.most);
  const result = { sides, ...found };
  self.postMessage(result, [sides.buffer, found.open.buffer, found.crowded.buffer]);
});
