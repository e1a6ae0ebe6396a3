// file-name.js - what a file's name says about it: NH-0042_cage_0.4mm.obj. Pure.
//   The parts are divided by underscores or spaces: a catalogue number, the kind, then for a cage its face size.
//   A bare number is taken as a face size only with a decimal point, since cage_7 is more often a version.

const MESH_NAME = /\.(obj|ply|stl|off)(\.(gz|zst))?$/i;
const KINDS = { scan: 'scan', raw: 'scan', cage: 'cage' };
const FACE_SIZE = /^(\d+(?:[.,]\d+)?)(mm|cm|m|in|%|pct|percent)?$/i;

/** Whether the name ends like a mesh that fettle reads. */
export function isMeshName(name) {
  return MESH_NAME.test(name);
}

/** @returns {{ number: string, kind: 'scan'|'cage'|'', faceSize: string }} '' for what the name does not tell */
export function readFileName(name) {
  const stem = name.replace(/^.*[/\\]/, '').replace(MESH_NAME, '');
  const parts = stem.split(/[_\s]+/).filter((part) => part !== '');
  const at = parts.findIndex((part) => KINDS[part.toLowerCase()] !== undefined);
  const kind = at < 0 ? '' : KINDS[parts[at].toLowerCase()];
  const number = (at < 0 ? parts.slice(0, 1) : parts.slice(0, at)).join(' ');
  const faceSize =
    kind === 'cage'
      ? (parts
          .slice(at + 1)
          .map(faceSizeOf)
          .find((size) => size !== '') ?? '')
      : '';
  return { number, kind, faceSize };
}

function faceSizeOf(part) {
  const match = FACE_SIZE.exec(part);
  if (match === null) return '';
  const number = match[1].replace(',', '.');
  const unit = (match[2] ?? '').toLowerCase();
  if (unit === '') return number.includes('.') ? number : '';
  return number + (unit === 'pct' || unit === 'percent' ? '%' : unit);
}

/** Whether a face size typed by a person can be sent: a length with or without unit, or a share in %. */
export function isFaceSize(text) {
  return text === '' || (/^\d+(\.\d+)?\s?(mm|cm|m|in|%)?$/.test(text) && parseFloat(text) > 0);
}
