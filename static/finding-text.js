// finding-text.js - what a finding is called, how large it is, and the sentence that says what is there and what to do: made from the fields
// of its record, in the unit shown. Pure.
import { formatCount, formatValue, withUnit } from './format.js';
import { canSay, say, sayList, sayOr } from './say.js';

const given = (value) => value !== null && value !== undefined;

/** The count that a sentence turns on, by kind; each is a field of the record. */
const COUNTED = {
  nonmanifold_edge: 'size',
  flipped_faces: 'size',
  duplicate_faces: 'size',
  degenerate_faces: 'size',
  open_loop: 'edges',
  nonmanifold_vertex: 'fans',
  stray_shell: 'faces_total',
};

export function kindName(kind) {
  return sayOr(`finding.${kind}`, kind.replaceAll('_', ' '));
}

/**
 * What is there and what to do. A kind, a form or a record that this page does not know is told in the server's own words.
 * @param {{ version: string, reference: string, ruler: object }} names  of the measured version and of what it was measured against
 */
export function findingText(finding, { version, reference, ruler }) {
  const { kind, form, distance, vertex } = finding;
  const key = ['finding', kind, form, 'text'].filter(given).join('.');
  const n = finding[COUNTED[kind]];
  const isTold = COUNTED[kind] === undefined ? given(distance) : given(n);
  if (!canSay(key) || !isTold || (kind === 'nonmanifold_vertex' && !given(vertex))) return finding.text;
  return say(key, {
    n,
    version,
    reference,
    distance: given(distance) ? ruler.about(distance) : '',
    vertex: given(vertex) ? formatCount(vertex) : '',
  });
}

const LENGTHS = ['length', 'mm', 'cm', 'm', 'in', 'unknown'];

/** How large a finding is, in the unit shown: how far the surfaces are apart (short: to three digits), a length, an area, or a count. */
export function sizeText({ size, unit, faces_total: faces, distance }, { ruler, faceSize = null, short = false }) {
  const apart = distance ? (short ? ruler.about : ruler.interval)(distance) : null;
  if (!given(size)) return apart ?? (faces ? say('findings.faces', { n: faces }) : '');
  if (LENGTHS.includes(unit)) {
    const length = ruler.length(size);
    return faceSize ? say('findings.inFaceSizes', { size: length, times: formatValue(size / faceSize, 2) }) : length;
  }
  if (unit.endsWith('²')) return apart === null ? ruler.area(size) : say('findings.over', { distance: apart, area: ruler.area(size) });
  return canSay(`findings.unit.${unit}`) ? say(`findings.unit.${unit}`, { n: size }) : withUnit(formatValue(size, 3), unit);
}

/** A finding in one line: kind, size, place. */
export function lineText(finding, { ruler }) {
  return sayList(
    [kindName(finding.kind), sizeText(finding, { ruler, short: true }), finding.at ? say('findings.at', { place: ruler.point(finding.at, ', ', 3) }) : ''].filter(
      (part) => part !== '',
    ),
  );
}
