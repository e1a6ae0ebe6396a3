// tolerances.js - the tolerances of a specimen: as people type them, and which runs were made with others. Pure.
//   Lengths in the specimen's unit, ascending.

/** As many as a specimen has at most; the server says the same. */
export const TOLERANCES_MAX = 16;

/**
 * The lengths in a text such as `0.1 0.5` or `0.1; 0.5`, in any order; null where something in it is no length above 0, such as a
 * number with a decimal comma, or where there are too many.
 */
export function readTolerances(text) {
  const pieces = text.split(/[\s;]+|,\s+/).filter((piece) => piece !== '');
  const lengths = pieces.map((piece) => (/^\+?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(piece) ? Number(piece) : NaN));
  if (!lengths.every((length) => length > 0 && length < Infinity)) return null;
  const kept = [...new Set(lengths)].sort((a, b) => a - b);
  return kept.length <= TOLERANCES_MAX ? kept : null;
}

/** The text that reads back as these lengths. */
export function writeTolerances(lengths) {
  return lengths.map(String).join('; ');
}

export function areTolerancesAlike(a, b) {
  return a.length === b.length && a.every((length, i) => length === b[i]);
}

/** The columns whose run was made with other tolerances than the specimen states; alone, a run has none. */
export function columnsOfOtherTolerances(columns, tolerances) {
  return columns.filter(
    ({ version, run }) =>
      run !== null &&
      run.against !== null &&
      run.id === version.latest_run &&
      version.withdrawn === null &&
      !areTolerancesAlike(run.tolerances, tolerances),
  );
}
