// version-table.js - the versions of a specimen as columns, the measures as grouped rows. Mounted in the specimen's view.
//   down: 'show', detail = the state of joins/specimen.js
//   up:   'wish.query' (the address), 'wish.version' (card of a version), 'wish.number' (card of a number), 'wish.again', 'wish.cancel',
//         'wish.over' { measure } (its chart)
// The table is one stop of the Tab key: arrows, Home and End move between its cells, b makes the column the baseline,
// f folds the group.
// Sixty columns of a hundred rows are too many to lay out at once. Every row is there with its name, so that it can be found and counted;
// its cells are drawn where the row and the column (all are equally wide) are in sight, a few beside them, and where the focus is.
// Rows are kept and their cells reused until what they say changes. On paper there are all, so many columns to a table.
import { cellText, changeText, groupRows, rowDiffers, rowSpeaks, scaleOf } from '../comparison.js';
import { emptyBox, h, hidden, redraw, shape, stateMark, tell, timeMark } from '../dom.js';
import { formatProgress } from '../format.js';
import { say, sayList } from '../say.js';
import { readSetting } from '../settings.js';
import { spark } from '../spark.js';
import { versionName } from '../specimen-state.js';
import { thumbnail } from '../thumbnail.js';

const VERDICT_SHAPE = { better: 'better', worse: 'worse', 'not told apart': 'same' };
/** Columns drawn beside those in sight, on either side. */
const BESIDE = 2;
/** How much above and below the window is drawn, in heights of it. */
const MARGIN = 0.4;
/** Rows that are drawn even where none is near the window. */
const LEAST = 6;
/** So many cells are drawn at once, in sight or not. */
const WHOLE = 600;
/** Columns across a printed page. */
const PRINTED = 7;

/** @param {HTMLElement} el */
export function VersionTable(el) {
  let state = null;
  let columns = [];
  let lines = []; // from above: { kind: 'head'|'group'|'measure', el, names, cells: Map of column number to its td, ... }
  let drawn = []; // the numbers of the columns that are drawn, ascending
  let near = { first: 0, last: LEAST }; // the lines whose cells are drawn
  let kept = { comparison: null, key: null, lines: new Map() }; // rows by their measure, while what they say is the same
  let headCells = new Map(); // those of the head, by what they say
  let current = { line: 'head', column: null }; // the cell that Tab leads to
  let goal = 1; // the column that the arrows up and down keep to
  let region = null;
  let table = null;
  let looking = false;
  let width = null; // of each kind of column, in px
  const sizes = new ResizeObserver(() => {
    if (region === null) return;
    fit();
    look();
    keepHead();
  });

  el.addEventListener('show', (event) => {
    state = event.detail;
    update();
  });
  el.addEventListener('click', press);
  el.addEventListener('keydown', move);
  el.addEventListener('focusin', (event) => {
    const at = placeOf(event.target);
    if (at !== null) setCurrent(at.line, at.c);
  });
  document.addEventListener('scroll', lookSoon, { capture: true, passive: true });
  window.addEventListener('beforeprint', () => {
    if (region === null || !el.isConnected) return;
    el.append(h('div', { class: 'printed' }, printedTables()));
  });
  window.addEventListener('afterprint', () => el.querySelector('.printed')?.remove());

  function update() {
    columns = state.columns;
    if (state.versions.length === 0) {
      region = null;
      redraw(el, emptyBox(say('versions.empty'), h('a', { href: '#/upload', text: say('versions.empty.next') })));
      return;
    }
    const key = focusKey();
    if (region === null) mount();
    if (table.getAttribute('aria-colcount') !== String(columns.length + 2)) {
      table.style.setProperty('--columns', String(columns.length));
      table.setAttribute('aria-colcount', String(columns.length + 2));
      table.querySelector('col.each').span = Math.max(1, columns.length);
    }
    table.caption.textContent = caption();
    const before = [columns.length, ...lines.map(({ id }) => id)].join();
    lines = [headLine(), ...bodyLines()];
    showBodies();
    drawn = drawn.filter((i) => i < columns.length);
    near.first = Math.min(near.first, lines.length - 1);
    fillLines();
    if (before === [columns.length, ...lines.map(({ id }) => id)].join()) lookSoon();
    else {
      fit();
      look();
      keepHead();
    }
    const line = lines.find(({ id }) => id === current.line) ?? lines[0];
    const c = Math.max(0, columns.findIndex(({ version }) => version.id === current.column) + 1);
    setCurrent(line, partAt(line, c) ? c : partAt(line, 0) ? 0 : 1);
    if (key !== null && focusKey() === null) focusOn(key);
  }

  const caption = () =>
    say('versions.caption', { baseline: state.baseline ? versionName(state.baseline) : '—' });
  const focusKey = () => (el.contains(document.activeElement) ? (document.activeElement.dataset.key ?? null) : null);

  function mount() {
    const head = h('tr');
    table = h(
      'table',
      { class: 'ledger versions' },
      h('caption', { class: 'hide' }),
      h('colgroup', {}, h('col', { class: 'names' }), h('col', { class: 'each' }), h('col', { class: 'trend' })),
      h('thead', {}, head),
    );
    region = h('div', { class: 'scroll wide' }, table);
    sizes.disconnect();
    sizes.observe(el);
    el.replaceChildren(region);
  }

  /** Lines gathered in bodies, one a group; what is as before stays where it is. */
  function showBodies() {
    const old = new Map([...table.tBodies].map((body) => [body.dataset.group, body]));
    inGroups(lines.slice(1)).forEach(({ group, parts }, i) => {
      const body = old.get(group) ?? h('tbody', { data: { group } });
      old.delete(group);
      if (parts.length !== body.rows.length || parts.some((part, at) => part !== body.rows[at]))
        body.replaceChildren(...parts);
      if (table.tBodies[i] !== body) table.insertBefore(body, table.tBodies[i] ?? null);
    });
    old.forEach((body) => body.remove());
  }

  function inGroups(those) {
    const bodies = [];
    for (const line of those) {
      if (bodies.length === 0 || line.kind === 'group') bodies.push({ group: line.group ?? '', parts: [] });
      bodies.at(-1).parts.push(line.el);
    }
    return bodies;
  }

  /** Where the whole table fits, the page scrolls and the head stays in sight; else the region scrolls, both ways. */
  function fit() {
    const style = getComputedStyle(table);
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
    const px = (name) => rem * parseFloat(style.getPropertyValue(name)); // as ledger.css has them
    width = { names: px('--names'), column: px('--column'), trend: px('--trend') };
    const whole = width.names + width.column * columns.length + width.trend;
    region.classList.toggle('fits', whole <= el.clientWidth + 1);
  }

  function lookSoon() {
    if (looking || region === null || !el.isConnected) return;
    looking = true;
    requestAnimationFrame(() => {
      looking = false;
      look();
      keepHead();
    });
  }

  /** Draws what is in sight where it is not drawn yet. */
  function look() {
    if (region === null || columns.length === 0 || !el.isConnected) return;
    const across = columnsInSight();
    const down = linesInSight();
    const isThere = ({ first, last }, has) => {
      for (let i = first; i <= last; i += 1) if (!has(i)) return false;
      return true;
    };
    const hasColumns = isThere(across, (i) => drawn.includes(i));
    if (hasColumns && isThere(down, (i) => i >= near.first && i <= near.last)) return;
    if (!hasColumns) drawn = columnsBeside(across);
    near = linesBeside(down);
    const key = focusKey();
    fillLines();
    if (key !== null && focusKey() === null) focusOn(key);
  }

  function columnsInSight() {
    if (region.classList.contains('fits')) return { first: 0, last: columns.length - 1 };
    const from = region.scrollLeft;
    const to = from + region.clientWidth - width.names;
    const at = (x) => Math.max(0, Math.min(columns.length - 1, Math.floor(x / width.column)));
    return { first: at(from), last: at(to) };
  }

  function columnsBeside({ first, last }) {
    const focused = columns.findIndex(({ version }) => version.id === current.column);
    return columns.map((_, i) => i).filter((i) => (i >= first - BESIDE && i <= last + BESIDE) || i === focused);
  }

  /** The lines under the head that the window shows, and two beside them; one that is drawn where it shows none. */
  function linesInSight() {
    const frame = region.getBoundingClientRect();
    const [top, bottom] = [Math.max(0, frame.top), Math.min(window.innerHeight, frame.bottom)];
    if (top >= bottom) return { first: near.first, last: near.first };
    const upTo = (edge) => lines.findIndex(({ el: row }, i) => i > 0 && row.getBoundingClientRect().bottom > edge);
    const last = upTo(bottom);
    return { first: Math.max(1, upTo(top) - 2), last: last < 0 ? lines.length - 1 : Math.min(lines.length - 1, last + 2) };
  }

  function linesBeside({ first, last }) {
    if (lines.length * drawn.length <= WHOLE) return { first: 0, last: lines.length - 1 };
    const away = MARGIN * window.innerHeight;
    const edge = (i) => lines[Math.min(lines.length - 1, i)].el.getBoundingClientRect();
    const [top, bottom] = [edge(first).top - away, Math.min(edge(last).bottom, window.innerHeight) + away];
    let [from, to] = [first, last];
    while (from > 1 && edge(from - 1).bottom > top) from -= 1;
    while (to < lines.length - 1 && edge(to + 1).top < bottom) to += 1;
    return { first: from, last: Math.max(to, from + LEAST) };
  }

  /** Of the head only its last lines stay: the names of the versions. */
  function keepHead() {
    const head = lines[0].el;
    const stays = Math.max(...[...head.querySelectorAll('.stays')].map((part) => part.offsetHeight), 0) + 8;
    const above = `${-Math.max(0, head.offsetHeight - stays)}px`;
    if (table.tHead.style.getPropertyValue('--above') !== above) table.tHead.style.setProperty('--above', above);
  }

  /** The cells of the lines near the window; where they are taken away, the row keeps its height. */
  function fillLines() {
    const wanted = drawn.join();
    const changes = lines.flatMap((line, i) => {
      if (!line.cell) return [];
      const isNear = i === 0 || (i >= near.first && i <= near.last) || line.id === current.line;
      const key = isNear ? wanted : '';
      return line.drawn === key ? [] : [{ line, key, height: line.drawn && !isNear ? line.el.offsetHeight : null }];
    });
    for (const { line, key, height } of changes) {
      line.drawn = key;
      line.el.replaceChildren(line.names, ...(key === '' ? [skippedRow(height)] : [...cellsOf(line), line.last()]));
    }
  }

  const skippedRow = (height) =>
    h('td', {
      class: 'skipped row',
      colspan: columns.length + 1,
      'aria-hidden': 'true',
      style: height ? { height: `${height}px` } : {},
    });

  function focusOn(key) {
    [...el.querySelectorAll('[data-key]')].find((part) => part.dataset.key === key)?.focus({ preventScroll: true });
  }

  /** The cells of a line that are drawn, and one empty cell for each run of columns that are not. */
  function cellsOf(line) {
    const cells = [];
    const skip = (count) => {
      if (count > 0)
        cells.push(h('td', { class: 'skipped', colspan: count > 1 ? String(count) : null, 'aria-hidden': 'true' }));
    };
    let next = 0;
    for (const i of drawn) {
      skip(i - next);
      if (!line.cells.has(i)) line.cells.set(i, line.cell(columns[i], i + 1));
      cells.push(line.cells.get(i));
      next = i + 1;
    }
    skip(columns.length - next);
    return cells;
  }

  function headLine() {
    const names = namesHead();
    const last = h('th', {
      scope: 'col',
      class: 'n trend',
      'aria-colindex': String(columns.length + 2),
      text: say('versions.overCages'),
    });
    const before = headCells;
    headCells = new Map();
    const cell = (column, c) => {
      const key = JSON.stringify([c, column, state.ruler.unit, state.ruler.factor, state.baselineRun, state.decimals]);
      headCells.set(key, before.get(key) ?? headCell(column, c));
      return headCells.get(key);
    };
    return { id: 'head', kind: 'head', el: table.tHead.rows[0], names, last: () => last, cells: new Map(), cell };
  }

  const namesHead = () =>
    h(
      'th',
      { scope: 'col', class: 'names', 'aria-colindex': '1' },
      h('div', { class: 'stays', text: say('versions.names') }),
    );

  /** The whole table for paper, so many columns after each other as a page is wide; folded groups stay so. */
  function printedTables() {
    const tables = [];
    for (let first = 0; first < columns.length; first += PRINTED) {
      const those = columns.slice(first, first + PRINTED);
      const row = (line) =>
        h('tr', {}, line.names.cloneNode(true), those.map((column, i) => line.cell(column, first + i + 1)));
      const body = ({ parts }) => h('tbody', {}, parts);
      const printed = lines.slice(1).map((line) => ({
        ...line,
        el: line.cell ? row(line) : line.el.cloneNode(true),
      }));
      tables.push(
        h(
          'table',
          { class: 'ledger versions', style: { '--columns': String(those.length) } },
          h('caption', { class: 'hide', text: caption() }),
          h('colgroup', {}, h('col', { class: 'names' }), h('col', { class: 'each', span: those.length })),
          h('thead', {}, h('tr', {}, namesHead(), those.map((column, i) => headCell(column, first + i + 1)))),
          inGroups(printed).map(body),
        ),
      );
    }
    return tables;
  }

  function headCell(column, c) {
    const { version, run, share } = column;
    const origin = version.face_size ? state.ruler.faceSize(version.face_size, share) : null;
    const from = version.made_from
      ? say('versions.from', { version: nameOf(version.made_from) })
      : version.kind === 'scan'
        ? say('versions.raw')
        : null;
    const tags = [
      column.isLatest && say('versions.latest'),
      column.isBaseline && say('versions.baseline'),
      column.isChosen && !column.isLatest && say('versions.chosen'),
    ].filter(Boolean);
    return h(
      'th',
      {
        scope: 'col',
        'aria-colindex': String(c + 1),
        class: [column.isBaseline && 'base', version.withdrawn && 'withdrawn'].filter(Boolean).join(' ') || null,
      },
      origin && h('span', { class: 'line', text: origin }),
      from && h('span', { class: 'line', text: from }),
      h('span', { class: 'line' }, timeMark(version.created, true)),
      version.by ? h('span', { class: 'line break', text: version.by }) : null,
      version.note ? h('span', { class: 'line note', title: version.note, text: version.note }) : null,
      version.withdrawn ? h('span', { class: 'line' }, stateMark('retired', say('versions.withdrawn'))) : null,
      jobMark(column),
      run === null ? null : otherwiseMeasured(column),
      thumbnail(version.has_pictures ? version.id : null),
      h(
        'div',
        { class: 'stays' },
        h('button', {
          class: 'plain name',
          data: { key: `cell head ${version.id}`, r: '', c },
          tabindex: '-1',
          'aria-haspopup': 'dialog',
          text: versionName(version),
          on: { click: (event) => tell(el, 'wish.version', { id: version.id, button: event.currentTarget }) },
        }),
        tags.length > 0 ? h('span', { class: 'line strong', text: sayList(tags) }) : null,
      ),
    );
  }

  function nameOf(id) {
    const version = state.versions.find((each) => each.id === id);
    return version ? versionName(version) : '—';
  }

  function jobMark({ job }) {
    if (!job || job.state === 'done' || job.state === 'cancelled') return null;
    if (job.state === 'failed') return h('span', { class: 'line' }, stateMark('failed', say('job.failed')));
    const words =
      job.state === 'queued' ? say('job.waiting') : say('job.measuring', { share: formatProgress(job.progress) });
    return h('span', { class: 'line' }, stateMark(job.state === 'queued' ? 'waiting' : 'running', words));
  }

  /** A column that is not differenced says why, with the button that would make it comparable. */
  function otherwiseMeasured(column) {
    const { run, version } = column;
    const base = state.baselineRun;
    if (base === null || run.kind !== base.kind || column.isBaseline) return null;
    if (!run.comparable) {
      return h(
        'span',
        { class: 'line other' },
        shape('undecided'),
        h('span', { text: run.why ?? say('versions.otherDefinitions') }),
        h('button', {
          data: { key: `again ${version.id}` },
          text: say('do.measureAgain'),
          on: { click: () => tell(el, 'wish.again', { id: version.id }) },
        }),
      );
    }
    if (run.reference_sha256 !== base.reference_sha256) {
      return h(
        'span',
        { class: 'line other' },
        shape('undecided'),
        h('span', { text: say('versions.otherReference') }),
      );
    }
    return null;
  }

  /** The rows under the head; those whose words are the same as before are the same elements. */
  function bodyLines() {
    const { comparison, folded, onlyDiffers, groups } = state;
    if (comparison === null) return [wordyLine(say(state.waiting ? 'versions.waiting' : 'versions.unmeasured'))];
    const rows = comparison.rows.filter((row) => rowSpeaks(row, columns) && (!onlyDiffers || rowDiffers(row, columns)));
    if (rows.length === 0) return [wordyLine(say('versions.noneDiffers'))];
    keepLines();
    return groupRows(rows, groups).flatMap((group) => {
      const open = !folded.includes(group.id);
      return [groupLine(group, open), ...(open ? group.rows.map(measureLine) : [])];
    });
  }

  /** Forgets the rows that were drawn, where what they say may have changed. */
  function keepLines() {
    const key = [
      state.unit,
      state.decimals,
      state.baselineIndex,
      ...columns.map(({ version, runIndex, isBaseline, isLatest }) =>
        [version.id, runIndex, isBaseline, isLatest, version.withdrawn !== null].join(' '),
      ),
    ].join();
    if (kept.comparison !== state.comparison || kept.key !== key)
      kept = { comparison: state.comparison, key, lines: new Map() };
  }

  function wordyLine(text) {
    return {
      id: 'wordy',
      kind: 'wordy',
      el: h('tr', {}, h('td', { class: 'wordy', colspan: columns.length + 2, text })),
    };
  }

  function groupLine(group, open) {
    const told = open ? '' : foldedText(group.rows);
    const name = `group ${group.id} ${open} ${told}`;
    if (!kept.lines.has(name)) kept.lines.set(name, makeGroupLine(group, open, told));
    return kept.lines.get(name);
  }

  function makeGroupLine(group, open, told) {
    return {
      id: `group ${group.id}`,
      kind: 'group',
      group: group.id,
      el: h(
        'tr',
        { class: 'group' },
        h(
          'th',
          { colspan: columns.length + 2, scope: 'rowgroup' },
          h(
            'div',
            {},
            h('button', {
              class: 'plain',
              'aria-expanded': String(open),
              data: { key: `cell group ${group.id}`, r: '', c: 0, fold: group.id },
              tabindex: '-1',
              text: group.title,
            }),
            h('small', { text: told }),
          ),
        ),
      ),
    };
  }

  /** What a folded group holds: how many rows, and what of them changed in the latest version. */
  function foldedText(rows) {
    const latest = columns.find(({ isLatest, isBaseline, runIndex }) => isLatest && !isBaseline && runIndex !== null);
    const changed = (verdict) => rows.filter((row) => latest && row.verdicts[latest.runIndex] === verdict).length;
    const changes = ['better', 'worse']
      .filter((verdict) => changed(verdict) > 0)
      .map((verdict) => say(`versions.rows.${verdict}`, { n: changed(verdict) }));
    const parts = [say('versions.rows', { n: rows.length })];
    if (changes.length > 0) parts.push(say('versions.rows.latest', { changes: sayList(changes) }));
    return sayList(parts);
  }

  function measureLine(row) {
    if (kept.lines.has(row.measure)) return kept.lines.get(row.measure);
    const scale = scaleOf(row, state.specimen.units, state.unit, state.decimals);
    const measure = state.measures.get(row.measure);
    let trend = null;
    const line = {
      id: row.measure,
      kind: 'measure',
      el: h('tr', { id: `row-${row.measure}` }),
      names: h(
        'th',
        { scope: 'row', 'aria-colindex': '1' },
        scale.unit ? h('span', { class: 'unit', text: scale.unit }) : null,
        h('a', {
          class: 'plain',
          href: `#/help?measure=${row.measure}`,
          data: { key: `cell ${row.measure}`, r: '', c: 0 },
          tabindex: '-1',
          text: row.name,
        }),
      ),
      last: () => (trend ??= trendCell(row)),
      cells: new Map(),
      cell: (column, c) => cell(row, measure, scale, column, c),
    };
    kept.lines.set(row.measure, line);
    return line;
  }

  function trendCell(row) {
    const trend = state.trendColumns.map(({ runIndex }) => row.values[runIndex]);
    const ends = row.upper
      ? state.trendColumns.map(({ runIndex }) => [row.lower[runIndex], row.upper[runIndex]])
      : null;
    const small = spark(trend, say('spark.row', { name: row.name }), ends);
    return h(
      'td',
      { class: 'trend', 'aria-colindex': String(columns.length + 2) },
      small &&
        h(
          'button',
          {
            class: 'plain',
            data: { key: `cell ${row.measure} over`, r: '', c: columns.length + 1, over: row.measure },
            tabindex: '-1',
            'aria-label': say('spark.open', { name: row.name }),
          },
          small,
        ),
    );
  }

  function cell(row, measure, scale, column, c) {
    const i = column.runIndex;
    const classes =
      [column.isBaseline && 'base', column.isLatest && 'latest', column.version.withdrawn && 'withdrawn']
        .filter(Boolean)
        .join(' ') || null;
    if (i === null) return h('td', { class: classes, 'aria-colindex': String(c + 1) });
    const text = cellText(row, i, measure, scale);
    const change = changeText(row, i, state.baselineIndex, scale);
    const apart =
      column.run.comparable &&
      row.comparable[i] === false &&
      column.run.kind === state.baselineRun?.kind &&
      text !== null;
    return h(
      'td',
      { class: classes, 'aria-colindex': String(c + 1) },
      h(
        'button',
        {
          class: text === null ? 'num none' : 'num',
          data: {
            key: `cell ${row.measure} ${column.version.id}`,
            r: '',
            c,
            measure: row.measure,
            version: column.version.id,
          },
          tabindex: '-1',
          'aria-haspopup': 'dialog',
        },
        text ?? ['—', hidden(say('value.none'))],
      ),
      change
        ? h(
            'span',
            { class: `change ${change.verdict.replaceAll(' ', '-')}` },
            VERDICT_SHAPE[change.verdict] ? shape(VERDICT_SHAPE[change.verdict]) : null,
            change.text,
          )
        : null,
      apart ? h('span', { class: 'change' }, shape('same'), say('versions.otherReference.short')) : null,
    );
  }

  function fold(id) {
    const folded = state.folded.includes(id) ? state.folded.filter((each) => each !== id) : [...state.folded, id];
    tell(el, 'wish.query', { fold: folded.join(',') || 'none' });
  }

  function press(event) {
    const part = event.target.closest('button');
    if (part?.dataset.fold) fold(part.dataset.fold);
    if (part?.dataset.over) tell(el, 'wish.over', { measure: part.dataset.over });
    if (part?.dataset.measure)
      tell(el, 'wish.number', { measure: part.dataset.measure, version: part.dataset.version, button: part });
  }

  /** The line and the column of a part that takes the focus; null for any other element. */
  function placeOf(part) {
    if (part.dataset?.r === undefined) return null;
    const line = lines.find((each) => each.el === part.closest('tr'));
    return line ? { line, c: Number(part.dataset.c) } : null;
  }

  /** The part of a line in a column that takes the focus, drawn if it was not; null where there is none. */
  function partAt(line, c) {
    if (c >= 1 && c <= columns.length && line.cells && !line.cells.has(c - 1))
      line.cells.set(c - 1, line.cell(columns[c - 1], c));
    const holder =
      c >= 1 && c <= columns.length ? line.cells?.get(c - 1) : c === 0 ? (line.names ?? line.el) : line.last?.();
    return holder?.querySelector('[data-r]') ?? null;
  }

  function setCurrent(line, c) {
    el.querySelector('[data-r][tabindex="0"]')?.setAttribute('tabindex', '-1');
    current = { line: line.id, column: columns[c - 1]?.version.id ?? null };
    partAt(line, c)?.setAttribute('tabindex', '0');
  }

  /** Moves the focus there, and the cell into sight. */
  function goTo(line, c) {
    setCurrent(line, c);
    const part = partAt(line, c);
    if (!part.isConnected) {
      if (c >= 1 && c <= columns.length && !drawn.includes(c - 1))
        region.scrollLeft = Math.max(0, (c - 0.5) * width.column - (region.clientWidth - width.names) / 2);
      drawn = columnsBeside(columnsInSight());
      fillLines();
    }
    part.focus({ preventScroll: true });
    bringIntoSight(part, line);
  }

  /** Scrolls the region so that the part stands clear of the frozen names and head, and the page so that the region is in sight. */
  function bringIntoSight(part, line) {
    if (region.classList.contains('fits')) {
      part.scrollIntoView({ block: 'nearest', inline: 'nearest' });
      return;
    }
    const [names, trend] = [table.tHead.firstChild.firstChild, table.tHead.firstChild.lastChild];
    const frame = region.getBoundingClientRect();
    const box = part.closest('td, th').getBoundingClientRect();
    const nudge = (low, high, from, to) => (low < from ? low - from : high > to ? Math.min(high - to, low - from) : 0);
    const right =
      frame.left + region.clientWidth - (getComputedStyle(trend).position === 'sticky' ? trend.offsetWidth : 0);
    const isFrozen =
      getComputedStyle(part.closest('td, th')).left === '0px' ||
      part.closest('.trend') !== null ||
      line.kind === 'group';
    if (!isFrozen) region.scrollLeft += nudge(box.left, box.right, frame.left + names.offsetWidth, right);
    else if (part.closest('.trend') !== null && getComputedStyle(trend).position !== 'sticky')
      region.scrollLeft = region.scrollWidth;
    if (line.kind !== 'head')
      region.scrollTop += nudge(
        box.top,
        box.bottom,
        Math.max(frame.top, names.getBoundingClientRect().bottom),
        frame.top + region.clientHeight,
      );
    region.scrollIntoView({ block: 'nearest' });
  }

  function move(event) {
    const at = placeOf(event.target);
    if (at === null || event.altKey || event.ctrlKey || event.metaKey) return;
    const { line, c } = at;
    const most = columns.length + 1;
    const along = (from, step) => {
      for (let column = from; column >= 0 && column <= most; column += step) if (partAt(line, column)) return column;
      return c;
    };
    const keys = readSetting('keys') === 'on';
    if (event.key === 'ArrowRight' || event.key === 'ArrowLeft' || event.key === 'Home' || event.key === 'End') {
      const [from, step] = { ArrowRight: [c + 1, 1], ArrowLeft: [c - 1, -1], Home: [0, 1], End: [columns.length, -1] }[
        event.key
      ];
      goal = along(from, step);
      goTo(line, goal);
    } else if (event.key === 'ArrowDown' || event.key === 'ArrowUp') {
      if (line.kind !== 'group') goal = c;
      const step = event.key === 'ArrowDown' ? 1 : -1;
      for (let i = lines.indexOf(line) + step; i >= 0 && i < lines.length; i += step) {
        const column = [goal, 0, 1].find((each) => partAt(lines[i], each));
        if (column === undefined) continue;
        goTo(lines[i], column);
        break;
      }
    } else if (event.key === 'b' && keys) makeBaseline(c);
    else if (event.key === 'f' && keys) foldAt(event.target);
    else return;
    event.preventDefault();
  }

  function makeBaseline(c) {
    const run = columns[c - 1]?.run;
    if (run) tell(el, 'wish.query', { baseline: run.id });
  }

  function foldAt(part) {
    const group = part.closest('tbody')?.dataset.group;
    if (!group) return;
    el.querySelector(`[data-group="${group}"] [aria-expanded]`).focus();
    fold(group);
  }
}
