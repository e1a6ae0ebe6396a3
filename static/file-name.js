// file-name.js - what a file's name says about it: NH-0042_cage_0.4mm.obj, or its folders': NH-0042 Ring/cages/0.4mm.obj. Pure.
//   The parts are divided by underscores or spaces: a catalogue number, the kind, then for a cage its face size.
//   A bare number is taken as a face size only with a decimal point, since cage_7 is more often a version.
//   What the file's own name tells goes before its folders' names, the nearer folder before the farther.

const MESH_NAME = /\.(obj|ply|stl|off)(\.(gz|zst))?$/i;
const KINDS = { scan: 'scan', raw: 'scan', cage: 'cage' };
const FOLDER_KINDS = { ...KINDS, scans: 'scan', cages: 'cage' };
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

/**
 * The same from the whole path inside what was dropped. A folder gives the kind by its name alone, and the catalogue number by its first
 * part, where the file's name has none: none that is known, or that has a letter and a digit. The rest of that folder's name is a title.
 * @param {(number: string) => boolean} isKnown  whether the collection has a specimen of that number
 * @returns {{ number: string, kind: 'scan'|'cage'|'', faceSize: string, title: string }}
 */
export function readFilePath(path, isKnown = () => false) {
  const folders = path.split('/').slice(0, -1).reverse();
  const own = readFileName(path);
  const kind = own.kind || (folders.map((folder) => FOLDER_KINDS[folder.toLowerCase()]).find(Boolean) ?? '');
  const isSize = own.kind === '' && kind === 'cage' && faceSizeOf(own.number) !== '';
  const faceSize = isSize ? faceSizeOf(own.number) : own.faceSize;
  if (isKnown(own.number) || (!isSize && looksLikeNumber(own.number)))
    return { number: own.number, kind, faceSize, title: '' };
  const named = folders.map((folder) => labelOf(folder, isKnown)).find((label) => label !== null);
  return { number: isSize ? '' : own.number, title: '', ...named, kind, faceSize };
}

function looksLikeNumber(text) {
  return /\p{L}/u.test(text) && /\d/.test(text);
}

/** The number a folder is named after (`NH-0042 Ring`, `NH 0042 Ring`), with the rest as a title; null where it has none. */
function labelOf(folder, isKnown) {
  if (isKnown(folder)) return { number: folder, title: '' };
  const parts = folder.split(/[_\s]+/).filter((part) => part !== '');
  const taken = /^\p{Lu}+$/u.test(parts[0] ?? '') ? 2 : 1;
  const number = parts.slice(0, taken).join(' ');
  return isKnown(number) || looksLikeNumber(number) ? { number, title: parts.slice(taken).join(' ') } : null;
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
