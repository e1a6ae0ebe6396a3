// placeholder.js - the place of a picture until there is one: an empty plate with the four corners that will hold it.
import { s } from './dom.js';

export function placeholder() {
  return s(
    'svg',
    { class: 'mount', viewBox: '0 0 72 54', 'aria-hidden': 'true' },
    s('path', { class: 'plate', d: 'M0 0h72v54H0z' }),
    s('path', { class: 'corners', d: 'M7 17V7h10M55 7h10v10M65 37v10H55M17 47H7V37' }),
  );
}
