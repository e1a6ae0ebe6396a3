// version-table.js - the versions of a specimen as columns, the measures as grouped rows. Mounted in the specimen's view.
//   down: 'show', detail = the state of joins/specimen.js
//   up:   'wish.query' (the address), 'wish.version' (card of a version), 'wish.number' (card of a number), 'wish.again', 'wish.cancel'
// The table is one stop of the Tab key: arrows, Home and End move between its cells, b makes the column the baseline,
// f folds the group.
import { cellText, changeText, groupRows, rowDiffers, rowSpeaks, scaleOf } from '../comparison.js';
import { emptyBox, h, hidden, redraw, shape, stateMark, tell, timeMark } from '../dom.js';
import { formatFaceSize, formatProgress } from '../format.js';
import { say, sayList } from '../say.js';
import { readSetting } from '../settings.js';
import { spark } from '../spark.js';
import { versionName } from '../specimen-state.js';

const VERDICT_SHAPE = { better: 'better', worse: 'worse', 'not told apart': 'same' };

/** @param {HTMLElement} el */
export function VersionTable(el) {
  let state = null;
  let current = '';
  const sizes = new ResizeObserver(fit);

  el.addEventListener('show', (event) => {
    state = event.detail;
    update();
  });
  el.addEventListener('keydown', move);
  el.addEventListener('focusin', (event) => {
    if (event.target.dataset.r !== undefined) setCurrent(event.target.dataset.key);
  });

  function update() {
    const { columns, versions } = state;
    if (versions.length === 0) {
      redraw(el, emptyBox(say('versions.empty'), h('a', { href: '#/upload', text: say('versions.empty.next') })));
      return;
    }
    redraw(
      el,
      h(
        'div',
        { class: 'scroll wide', data: { scroll: 'versions' } },
        h(
          'table',
          { class: 'ledger versions' },
          h('caption', {
            class: 'hide',
            text: say('versions.caption', { baseline: state.baseline ? versionName(state.baseline) : '—' }),
          }),
          h('thead', {}, headRow(columns)),
          bodies(columns),
        ),
      ),
    );
    fit();
    sizes.disconnect();
    sizes.observe(el);
    const cells = [...el.querySelectorAll('[data-r]')];
    setCurrent((cells.find((part) => part.dataset.key === current) ?? cells[0]).dataset.key);
  }

  /** Where the whole table fits, the page scrolls and the head stays in sight; else the region scrolls sideways. */
  function fit() {
    const region = el.querySelector('.scroll');
    region?.classList.remove('fits');
    region?.classList.toggle('fits', region.firstChild.offsetWidth <= region.clientWidth);
  }

  function headRow(columns) {
    return h(
      'tr',
      {},
      h('th', { scope: 'col', class: 'names' }, say('versions.names')),
      columns.map((column, c) => headCell(column, c)),
      h('th', { scope: 'col', class: 'n', text: say('versions.overCages') }),
    );
  }

  function headCell(column, c) {
    const { version, run, share } = column;
    const unit = state.unit;
    const origin = version.face_size ? formatFaceSize(version.face_size * state.lengthFactor, share, unit) : null;
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
        class: [column.isBaseline && 'base', version.withdrawn && 'withdrawn'].filter(Boolean).join(' ') || null,
      },
      h('button', {
        class: 'plain name',
        data: { key: `cell head ${version.id}`, r: 0, c: c + 1 },
        'aria-haspopup': 'dialog',
        text: versionName(version),
        on: { click: (event) => tell(el, 'wish.version', { id: version.id, button: event.currentTarget }) },
      }),
      tags.length > 0 ? h('span', { class: 'line strong', text: sayList(tags) }) : null,
      origin && h('span', { class: 'line', text: origin }),
      from && h('span', { class: 'line', text: from }),
      h('span', { class: 'line' }, timeMark(version.created, true)),
      version.by ? h('span', { class: 'line break', text: version.by }) : null,
      version.note ? h('span', { class: 'line note', title: version.note, text: version.note }) : null,
      version.withdrawn ? h('span', { class: 'line' }, stateMark('retired', say('versions.withdrawn'))) : null,
      jobMark(column),
      run === null ? null : otherwiseMeasured(column),
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

  function bodies(columns) {
    const { comparison, folded, onlyDiffers, groups } = state;
    if (comparison === null) {
      return h(
        'tbody',
        {},
        h(
          'tr',
          {},
          h('td', {
            class: 'wordy',
            colspan: columns.length + 2,
            text: say(state.waiting ? 'versions.waiting' : 'versions.unmeasured'),
          }),
        ),
      );
    }
    const rows = comparison.rows.filter((row) => rowSpeaks(row, columns) && (!onlyDiffers || rowDiffers(row, columns)));
    if (rows.length === 0) {
      return h(
        'tbody',
        {},
        h('tr', {}, h('td', { class: 'wordy', colspan: columns.length + 2, text: say('versions.noneDiffers') })),
      );
    }
    let r = 0;
    return groupRows(rows, groups).map((group) => {
      const open = !folded.includes(group.id);
      return h(
        'tbody',
        { data: { group: group.id } },
        h(
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
                data: { key: `cell group ${group.id}`, r: (r += 1), c: 0 },
                text: group.title,
                on: { click: () => fold(group.id) },
              }),
              h('small', { text: open ? '' : foldedText(group.rows, columns) }),
            ),
          ),
        ),
        open ? group.rows.map((row) => measureRow(row, columns, (r += 1))) : null,
      );
    });
  }

  /** What a folded group holds: how many rows, and what of them changed in the latest version. */
  function foldedText(rows, columns) {
    const latest = columns.find(({ isLatest, isBaseline, runIndex }) => isLatest && !isBaseline && runIndex !== null);
    const changed = (verdict) => rows.filter((row) => latest && row.verdicts[latest.runIndex] === verdict).length;
    const changes = ['better', 'worse']
      .filter((verdict) => changed(verdict) > 0)
      .map((verdict) => say(`versions.rows.${verdict}`, { n: changed(verdict) }));
    const parts = [say('versions.rows', { n: rows.length })];
    if (changes.length > 0) parts.push(say('versions.rows.latest', { changes: sayList(changes) }));
    return sayList(parts);
  }

  function measureRow(row, columns, r) {
    const scale = scaleOf(row, state.specimen.units, state.unit);
    const measure = state.measures.get(row.measure);
    const trend = state.trendColumns.map(({ runIndex }) => row.values[runIndex]);
    return h(
      'tr',
      { id: `row-${row.measure}` },
      h(
        'th',
        { scope: 'row' },
        scale.unit ? h('span', { class: 'unit', text: scale.unit }) : null,
        h('a', {
          class: 'plain',
          href: `#/help?measure=${row.measure}`,
          data: { key: `cell ${row.measure}`, r, c: 0 },
          text: row.name,
        }),
      ),
      columns.map((column, c) => cell(row, measure, scale, column, r, c + 1)),
      h('td', { class: 'trend' }, spark(trend, say('spark.row', { name: row.name }))),
    );
  }

  function cell(row, measure, scale, column, r, c) {
    const i = column.runIndex;
    const classes =
      [column.isBaseline && 'base', column.isLatest && 'latest', column.version.withdrawn && 'withdrawn']
        .filter(Boolean)
        .join(' ') || null;
    if (i === null) return h('td', { class: classes });
    const text = cellText(row, i, measure, scale);
    const change = changeText(row, i, state.baselineIndex, scale);
    const apart =
      column.run.comparable &&
      row.comparable[i] === false &&
      column.run.kind === state.baselineRun?.kind &&
      text !== null;
    return h(
      'td',
      { class: classes },
      h(
        'button',
        {
          class: text === null ? 'num none' : 'num',
          data: { key: `cell ${row.measure} ${column.version.id}`, r, c },
          'aria-haspopup': 'dialog',
          on: {
            click: (event) =>
              tell(el, 'wish.number', {
                measure: row.measure,
                version: column.version.id,
                button: event.currentTarget,
              }),
          },
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

  function setCurrent(key) {
    current = key;
    for (const part of el.querySelectorAll('[data-r]')) part.tabIndex = part.dataset.key === key ? 0 : -1;
  }

  function move(event) {
    if (event.target.dataset.r === undefined || event.altKey || event.ctrlKey || event.metaKey) return;
    const grid = new Map(
      [...el.querySelectorAll('[data-r]')].map((part) => [`${part.dataset.r} ${part.dataset.c}`, part]),
    );
    const [r, c] = [Number(event.target.dataset.r), Number(event.target.dataset.c)];
    const find = (row, column) => grid.get(`${row} ${column}`);
    const columns = state.columns.length;
    const rowsDown = (step) => {
      for (let row = r + step; row >= 0 && row <= grid.size; row += step) {
        const part = find(row, c) ?? find(row, 0) ?? (row === 0 ? find(0, 1) : undefined);
        if (part) return part;
      }
      return null;
    };
    const along = (from, step) => {
      for (let column = from; column >= 0 && column <= columns; column += step)
        if (find(r, column)) return find(r, column);
      return null;
    };
    let target = null;
    switch (event.key) {
      case 'ArrowRight':
        target = along(c + 1, 1);
        break;
      case 'ArrowLeft':
        target = along(c - 1, -1);
        break;
      case 'ArrowDown':
        target = rowsDown(1);
        break;
      case 'ArrowUp':
        target = rowsDown(-1);
        break;
      case 'Home':
        target = along(0, 1);
        break;
      case 'End':
        target = along(columns, -1);
        break;
      case 'b':
        return readSetting('keys') === 'on' ? makeBaseline(c) : undefined;
      case 'f':
        return readSetting('keys') === 'on' ? foldAt(event.target) : undefined;
      default:
        return undefined;
    }
    event.preventDefault();
    target?.focus();
    return undefined;
  }

  function makeBaseline(c) {
    const run = state.columns[c - 1]?.run;
    if (run) tell(el, 'wish.query', { baseline: run.id });
  }

  function foldAt(part) {
    const group = part.closest('tbody')?.dataset.group;
    if (!group) return;
    el.querySelector(`[data-group="${group}"] [aria-expanded]`).focus();
    fold(group);
  }
}
