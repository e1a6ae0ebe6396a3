// marks-worker.js - finds the marks of one surface, or the sides of its faces, beside the page.
//   in:  the surface's triangles, twins, faces and counts, and what: 'marks' or 'sides'
//   out: findMarks, or pairs of vertices, each side once
import { findMarks, uniqueSides } from './marks.js';
import { faceSides } from './surface.js';

self.addEventListener('message', ({ data }) => {
  const pairs = faceSides(data);
  if (data.what === 'sides') {
    const sides = uniqueSides(pairs);
    self.postMessage(sides, [sides.buffer]);
    return;
  }
  const found = findMarks(data, pairs);
  self.postMessage(found, [found.open.buffer, found.crowded.buffer]);
});
