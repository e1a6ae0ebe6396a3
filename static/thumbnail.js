// thumbnail.js - the small picture of a version that the server made, or the empty mount where there is none yet.
import { thumbnailAddress } from './api.js';
import { h } from './dom.js';
import { placeholder } from './placeholder.js';

/** @param {string|null} version  that has pictures; its name stands beside the picture, which is hidden from readers of the text */
export function thumbnail(version) {
  if (version === null) return placeholder();
  return h('img', { class: 'mount', src: thumbnailAddress(version), alt: '', width: 320, height: 240, loading: 'lazy' });
}

/** The newest version of a trend that has pictures: cages before scans; null where none has. */
export function picturedVersion(trend) {
  const pictured = trend.filter((point) => point.has_pictures && !point.withdrawn);
  return (pictured.findLast(({ kind }) => kind === 'cage') ?? pictured.at(-1))?.version ?? null;
}
