// csv.js - a comparison as CSV (RFC 4180): full digits, the file's own unit. Pure.
//   A text that a spreadsheet would take for a formula gets an apostrophe in front; numbers are left as they are.

/** One field: quoted where it must be, and never the beginning of a formula. */
export function csvField(value) {
  if (value === null || value === undefined) return '';
  if (typeof value === 'number' || typeof value === 'boolean') return String(value);
  const text = /^[=+\-@\t\r]/.test(value) ? `'${value}` : value;
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

export function csvText(rows) {
  return rows.map((row) => `${row.map(csvField).join(',')}\r\n`).join('');
}

/**
 * The comparison as rows: one for each measure, and five columns for each version. Values are in the file's unit, whatever the page
 * shows; the head says which.
 * @param {object[]} columns  { label, runIndex } in the order shown
 * @param {object} comparison  body of GET /api/v1/compare
 */
export function comparisonRows(comparison, columns, { number, units, baseline }) {
  const names = columns.flatMap(({ label }) => [
    label,
    `${label} lower`,
    `${label} upper`,
    `${label} minus ${baseline}`,
    `${label} against ${baseline}`,
  ]);
  const head = ['specimen', 'measure', 'name', 'group', `unit (lengths in ${units})`, 'better when', ...names];
  const body = comparison.rows.map((row) => [
    number,
    row.measure,
    row.name,
    row.group,
    unitOf(row.unit, units),
    row.direction,
    ...columns.flatMap(({ runIndex }) => [
      row.values[runIndex] ?? null,
      row.lower?.[runIndex] ?? null,
      row.upper?.[runIndex] ?? null,
      row.differences[runIndex] ?? null,
      row.verdicts[runIndex] ?? null,
    ]),
  ]);
  return [head, ...body];
}

/** The unit as it is printed; 1 where a value is a number, a share or a count. */
function unitOf(unit, units) {
  const length = units === 'unknown' ? 'unit of the file' : units;
  return { length, area: `${length}²`, volume: `${length}³`, degree: '°', second: 's' }[unit] ?? '1';
}
