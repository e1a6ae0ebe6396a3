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
 * The comparison as rows: one for each measure, and four columns for each version.
 * @param {object[]} columns  { label, runIndex } in the order shown
 * @param {object} comparison  body of GET /api/v1/compare
 */
export function comparisonRows(comparison, columns, { number, units }) {
  const names = columns.flatMap(({ label }) => [label, `${label} lower`, `${label} upper`, `${label} difference`]);
  const head = ['specimen', 'measure', 'name', 'group', 'unit', 'units of length', 'better when', ...names];
  const body = comparison.rows.map((row) => [
    number,
    row.measure,
    row.name,
    row.group,
    row.unit,
    units,
    row.direction,
    ...columns.flatMap(({ runIndex }) => [
      row.values[runIndex] ?? null,
      row.lower?.[runIndex] ?? null,
      row.upper?.[runIndex] ?? null,
      row.differences[runIndex] ?? null,
    ]),
  ]);
  return [head, ...body];
}
