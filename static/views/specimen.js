// specimen.js - one specimen: its label, what is being done to it, its versions compared, charts, findings. Mounted on the main part.
//   down: 'show', detail = the state of joins/specimen.js, or { problem } or { loading }
//   up:   the wishes of its parts, and 'wish.query', 'wish.csv', 'wish.retry', 'wish.remeasure', 'wish.tolerances', 'wish.row' (unfold its group and go there)
import { choice, errorBox, give, h, redraw, stateMark, tell } from '../dom.js';
import { groupRows, rowSpeaks, summarize } from '../comparison.js';
import { UNITS } from '../format.js';
import { problemText, reasonText } from '../problem.js';
import { writeRoute } from '../route.js';
import { say, sayList, sayWith } from '../say.js';
import { readSetting, writeSetting } from '../settings.js';
import { versionName } from '../specimen-state.js';
import { countPlaces } from '../same-place.js';
import { Findings } from './findings.js';
import { Glance, sinceCounts } from './glance.js';
import { Histograms } from './histograms.js';
import { Mend } from './mend.js';
import { SpecimenLabel } from './specimen-label.js';
import { specimenTabs } from './specimen-tabs.js';
import { TrendCharts } from './trend-charts.js';
import { VersionTable } from './version-table.js';

/** @param {HTMLElement} el */
export function SpecimenView(el) {
  const part = (className) => h('div', { class: className });
  const parts = {
    tabs: h('div', {}),
    label: part('part'),
    notices: part('notices'),
    glance: part('part'),
    controls: part('part'),
    summary: part('part'),
    table: part('part'),
    trends: part('some'),
    shapes: part('some'),
    mend: part('part'),
    findings: part('part'),
  };
  const heads = {
    glance: h('h2', { id: 'glance' }),
    versions: h('h2', { id: 'versions', tabindex: '-1' }),
    charts: h('h2', { id: 'charts' }),
    mend: h('h2', { id: 'mend' }),
    findings: h('h2', { id: 'findings', tabindex: '-1' }),
  };
  let mounted = false;
  let offered = null; // what the controls offer, as one text
  const given = new Map(); // what each part was given last
  const later = new Map(); // what parts below the table get once that is seen

  SpecimenLabel(parts.label);
  Glance(parts.glance);
  VersionTable(parts.table);
  TrendCharts(parts.trends);
  Histograms(parts.shapes);
  Mend(parts.mend);
  Findings(parts.findings);
  el.addEventListener('wish.finding', (event) => goToFinding(event.detail));
  el.addEventListener('wish.table', () => {
    heads.versions.scrollIntoView({ block: 'start' });
    heads.versions.focus({ preventScroll: true });
  });

  el.addEventListener('show', (event) => {
    const state = event.detail;
    if (state.problem) {
      mounted = false;
      el.replaceChildren(
        h('h1', { class: 'plain', text: say('specimen.title') }),
        errorBox(problemText(state.problem)),
        h('p', {}, h('a', { href: '#/', text: say('specimen.back') })),
      );
    } else if (state.loading) {
      mounted = false;
      el.replaceChildren(
        h('h1', { class: 'hide', text: say('specimen.title') }),
        h('p', { class: 'quiet', text: say('loading') }),
      );
    } else update(state);
  });

  function update(state) {
    if (!mounted) {
      el.replaceChildren(
        parts.tabs,
        parts.label,
        parts.notices,
        h('section', { 'aria-labelledby': 'glance' }, heads.glance, parts.glance),
        h('section', { 'aria-labelledby': 'versions' }, heads.versions, parts.controls, parts.table),
        h(
          'section',
          { 'aria-labelledby': 'charts' },
          heads.charts,
          h('div', { class: 'charts' }, parts.trends, parts.shapes),
        ),
        h('section', { 'aria-labelledby': 'mend' }, heads.mend, parts.mend),
        h('section', { 'aria-labelledby': 'findings' }, heads.findings, parts.findings),
        h('p', { class: 'caution', text: say('caution') }),
      );
      mounted = true;
    }
    redraw(parts.tabs, specimenTabs(state.specimen, 'specimen'));
    give(parts.label, 'show', state);
    redraw(parts.notices, notices(state));
    heads.glance.textContent = say('glance.title');
    heads.glance.parentElement.hidden = state.comparison === null || state.chosenColumn === null;
    if (!heads.glance.parentElement.hidden) giveChanged(parts.glance, said(state), glance(state));
    redraw(
      heads.versions,
      say('versions.title'),
      h('small', { text: state.baseline ? say('versions.note', { baseline: versionName(state.baseline) }) : '' }),
    );
    showControls(state);
    heads.charts.textContent = say('charts.title');
    heads.charts.parentElement.hidden = state.comparison === null;
    giveLater(state, parts.trends, said(state, 'over', 'x', 'y'), {
      state,
      over: state.query.over,
      x: state.query.x,
      y: state.query.y,
    });
    giveLater(state, parts.shapes, [state.otherRecords.map(({ id }) => id).join(), ...said(state, 'chart', 'way')], {
      chosen: state.chosenRecord,
      others: state.otherRecords,
      metric: state.query.chart,
      way: state.query.way,
      unit: state.ruler.unit,
      lengthFactor: state.ruler.factor,
      offered: state.columns
        .filter(({ version, run }) => run !== null && version.kind === state.chosen?.kind)
        .map(({ version }) => ({ id: version.id, name: versionName(version) })),
    });
    const mend = state.chosenRecord?.record.mend ?? null;
    redraw(
      heads.mend,
      say('mend.title', { version: state.chosen ? versionName(state.chosen) : '' }),
      h('small', {
        text: state.chosen?.against ? say('mend.against', { reference: state.nameOf(state.chosen.against) }) : '',
      }),
    );
    heads.mend.parentElement.hidden = mend === null;
    give(parts.mend, 'show', {
      run: state.chosenRun,
      mend,
      ruler: state.ruler,
    });
    redraw(
      heads.findings,
      say('findings.title', { version: state.chosen ? versionName(state.chosen) : '' }),
      h('small', { text: findingCounts(state) }),
      state.since
        ? h('small', {
            text: say('findings.sinceCounts', {
              baseline: versionName(state.baseline),
              counts: sinceCounts(countPlaces(state.since.match, state.since.before, state.since.after)),
            }),
          })
        : null,
    );
    heads.findings.parentElement.hidden = state.chosen === null;
    give(parts.findings, 'show', {
      run: state.chosenRun,
      name: state.chosen ? versionName(state.chosen) : '',
      against: state.chosenAgainst,
      findings: state.findings,
      since: state.since && {
        name: versionName(state.baseline),
        against: state.nameOf(state.baselineRun.against),
        items: state.since.before.items,
        match: state.since.match,
        spaceAddress: spaceAddress(state, state.baseline, state.baselineRun.id),
      },
      bounds: state.chosenRecord?.record.subject.bounds ?? null,
      reference: state.chosenRecord?.record.reference?.bounds ?? null,
      ruler: state.ruler,
      faceSize: state.chosen?.face_size ?? null,
      waiting: state.waiting,
      spaceAddress: spaceAddress(state, state.chosen, state.chosenRun),
    });
    give(parts.table, 'show', state); // last: it asks where it stands
  }

  /** Everything but the jobs that a chart or a sentence may rest on, and those parts of the address that choose what is drawn. */
  function said(state, ...chosen) {
    return [
      state.comparison,
      state.unit,
      state.decimals,
      state.chosenRun,
      state.baselineRun?.id,
      state.columns.map(({ version }) => `${version.id} ${version.withdrawn !== null} ${version.has_pictures}`).join(),
      state.specimen.id,
      state.specimen.tolerances.join(),
      ...chosen.map((name) => state.query[name]),
    ];
  }

  /** Gives it down only where it says something else than before: news of a job come every second. */
  function giveChanged(el, key, detail) {
    const before = given.get(el);
    if (before?.length === key.length && key.every((each, i) => each === before[i])) return;
    given.set(el, key);
    later.delete(el);
    give(el, 'show', detail);
  }

  /** The same, but after the frame that shows the table where all is new: what is in sight comes first. A part that only chooses anew has it at once. */
  function giveLater({ comparison }, el, key, detail) {
    if (given.get(el)?.includes(comparison)) return giveChanged(el, key, detail);
    if (later.size === 0) afterTwoFrames(giveRest);
    later.set(el, () => giveChanged(el, key, detail));
  }

  function giveRest() {
    for (const draw of [...later.values()]) draw();
  }
  window.addEventListener('beforeprint', giveRest);

  /** The address of a finding of a version in space; null where its surface is not there. */
  function spaceAddress(state, version, run) {
    if (!version?.has_pictures) return null;
    return (finding, number) =>
      writeRoute({
        view: 'space',
        id: state.specimen.id,
        query: {
          versions: version.id,
          colour: version.against === null ? 'none' : finding.mesh === 'reference' ? 'lost' : 'invented',
          finding: `${run}.${number}`,
        },
      });
  }

  /** What the first answers are made of: the columns they weigh, and the places that count as something amiss. */
  function glance(state) {
    const counts = ({ severity }) => severity !== 'note';
    const level = ['fault', 'warning', 'note'];
    return {
      state,
      chosen: state.chosenColumn,
      baseline: state.columns.find(({ isBaseline }) => isBaseline) ?? null,
      since: state.since && countPlaces(state.since.match, state.since.before, state.since.after, counts),
      severities: findingCounts(state),
      all: state.baselineRun && state.chosenColumn?.run ? summarize(state.comparison.rows, state.chosenColumn.runIndex) : null,
      places: (state.findings?.items ?? [])
        .map((finding, i) => ({ finding, number: i + 1 }))
        .filter(({ finding }) => counts(finding))
        .sort(
          (a, b) =>
            level.indexOf(a.finding.severity) - level.indexOf(b.finding.severity) || b.finding.score - a.finding.score,
        ),
    };
  }

  /** How many of each severity, apart for the version's own and for what it lost of its reference. */
  function findingCounts({ findings, chosen, chosenAgainst }) {
    if (findings === null) return '';
    const counts = (mesh) => {
      const count = (severity) => findings.items.filter((finding) => finding.mesh === mesh && finding.severity === severity).length;
      return sayList([
        say('count.faults', { n: count('fault') }),
        say('count.warnings', { n: count('warning') }),
        ...(count('note') > 0 ? [say('count.notes', { n: count('note') })] : []),
      ]);
    };
    if (!chosenAgainst) return counts('subject');
    const words = { version: versionName(chosen), reference: chosenAgainst, own: counts('subject'), lost: counts('reference') };
    return say('findings.byMesh', words);
  }

  function notices(state) {
    const failed = state.columns.concat(state.hiddenColumns).filter(({ job }) => job?.state === 'failed');
    const stale = state.staleCages;
    return [
      failed.map(({ job }) =>
        errorBox(reasonText(job), [
          h('button', {
            data: { key: `retry ${job.id}` },
            text: say('do.measureAgain'),
            on: { click: () => tell(el, 'wish.retry', { job: job.id }) },
          }),
          h('a', {
            class: 'button',
            href: `#/upload?specimen=${encodeURIComponent(state.specimen.catalogue_number)}`,
            text: say('label.upload'),
          }),
        ]),
      ),
      stale.length > 0
        ? h(
            'div',
            { class: 'offer' },
            h(
              'p',
              {},
              stateMark(
                'undecided',
                say('remeasure.offer', {
                  n: stale.length,
                  scan: versionName(state.latestScan),
                  cages: sayList(stale.map(versionName)),
                }),
              ),
            ),
            h(
              'p',
              { class: 'acts' },
              h('button', {
                data: { key: 'remeasure' },
                text: say('remeasure.do', { n: stale.length, scan: versionName(state.latestScan) }),
                on: { click: () => tell(el, 'wish.remeasure') },
              }),
            ),
          )
        : null,
      tolerancesOffer(state),
    ];
  }

  /** Runs made with other tolerances than the specimen states now keep theirs; measuring again is offered. */
  function tolerancesOffer({ otherTolerances, tolerancesText }) {
    if (otherTolerances.length === 0) return null;
    const n = otherTolerances.length;
    const slots = { n, now: tolerancesText, versions: sayList(otherTolerances.map(versionName)) };
    return h(
      'div',
      { class: 'offer' },
      h('p', {}, stateMark('undecided', say('tolerances.offer', slots))),
      h(
        'p',
        { class: 'acts' },
        h('button', {
          data: { key: 'tolerances' },
          text: say('tolerances.do', { n }),
          on: { click: () => tell(el, 'wish.tolerances') },
        }),
      ),
    );
  }

  /** Drawn anew where they offer something else; else another baseline is only chosen in them. */
  function showControls(state) {
    const measured = state.columns.filter(({ run }) => run !== null);
    const rows = sortableRows(state);
    const says = JSON.stringify([
      measured.map(({ version, run }) => [run.id, versionName(version)]),
      rows,
      [state.onlyDiffers, state.query.sort, state.query.unit, readSetting('unit'), readSetting('decimals')],
      [state.specimen.units, state.comparison === null, state.hidden, state.columns.length],
      state.allVersions.map(({ id }) => id),
    ]);
    if (offered !== says) redraw(parts.controls, controls(state, measured, rows), parts.summary);
    offered = says;
    const baseline = parts.controls.querySelector('[name=baseline]');
    if (baseline) baseline.value = state.baselineRun?.id ?? '';
    redraw(parts.summary, summary(state));
  }

  function controls(state, measured, rows) {
    if (state.versions.length === 0) return [];
    const query = (changes) => tell(el, 'wish.query', changes);
    return [
      h(
        'form',
        {
          class: 'controls',
          'aria-label': say('versions.controls'),
          on: { submit: (event) => event.preventDefault() },
        },
        measured.length > 0
          ? choice({
              label: say('versions.chooseBaseline'),
              name: 'baseline',
              entries: measured.map(({ version, run }) => [run.id, versionName(version)]),
              change: (value) => query({ baseline: value }),
            })
          : null,
        h(
          'label',
          {},
          h('input', {
            type: 'checkbox',
            checked: state.onlyDiffers,
            data: { key: 'only' },
            on: { change: (event) => query({ only: event.target.checked ? 'differs' : '' }) },
          }),
          h('span', { text: say('versions.onlyDiffers') }),
        ),
        choice({
          label: say('versions.sort'),
          name: 'sort',
          chosen: state.query.sort ?? 'newest',
          entries: [
            ['newest', say('versions.sort.newest')],
            ['number', say('versions.sort.number')],
            ['face_size', say('versions.sort.faceSize')],
            ...rows,
          ],
          change: (value) => query({ sort: value === 'newest' ? '' : value }),
        }),
        state.specimen.units === 'unknown'
          ? null
          : choice({
              label: say('versions.unit'),
              name: 'unit',
              chosen: state.query.unit ?? readSetting('unit'),
              entries: [
                ['', say('versions.unit.file', { unit: state.specimen.units })],
                ...UNITS.map((unit) => [unit, unit]),
              ],
              change: (value) => {
                writeSetting('unit', value);
                query({ unit: value });
              },
            }),
        choice({
          label: say('versions.decimals'),
          name: 'decimals',
          chosen: readSetting('decimals'),
          entries: [['', say('versions.decimals.any')], ...[...'0123456'].map((n) => [n, n])],
          change: (value) => {
            writeSetting('decimals', value);
            query({});
          },
        }),
        h(
          'details',
          { class: 'pick', data: { open: 'pick' } },
          h('summary', {
            data: { key: 'pick' },
            text: say('versions.pick', { n: state.columns.length, total: String(state.versions.length) }),
          }),
          h(
            'ul',
            {},
            state.allVersions.map((version) =>
              h(
                'li',
                {},
                h(
                  'label',
                  {},
                  h('input', {
                    type: 'checkbox',
                    checked: !state.hidden.includes(version.id),
                    data: { key: `pick ${version.id}` },
                    on: { change: () => tell(el, 'wish.hide', { id: version.id }) },
                  }),
                  h('span', { text: versionName(version) }),
                ),
              ),
            ),
          ),
        ),
        h(
          'span',
          { class: 'right acts' },
          h('button', {
            type: 'button',
            disabled: state.comparison === null,
            data: { key: 'copy csv' },
            text: say('versions.copyCsv'),
            on: { click: () => tell(el, 'wish.copyCsv') },
          }),
          h('button', {
            type: 'button',
            disabled: state.comparison === null,
            data: { key: 'csv' },
            text: say('versions.csv'),
            on: { click: () => tell(el, 'wish.csv') },
          }),
        ),
      ),
    ];
  }

  /** The measures by which columns can be sorted, in their groups. */
  function sortableRows(state) {
    if (state.comparison === null) return [];
    const rows = state.comparison.rows.filter((row) => rowSpeaks(row, state.columns));
    return groupRows(rows, state.groups).map(({ title, rows: members }) => ({
      title,
      entries: members.map((row) => [row.measure, row.name]),
    }));
  }

  /** One sentence: the latest against the baseline, with links to what got worse. */
  function summary(state) {
    const column = state.columns.find(({ isLatest, run }) => isLatest && run !== null);
    if (
      !column ||
      column.isBaseline ||
      state.comparison === null ||
      !column.run.comparable ||
      column.run.kind !== state.baselineRun?.kind
    )
      return null;
    const { better, worse, same, worseRows } = summarize(state.comparison.rows, column.runIndex);
    const link = (row) =>
      h('a', { href: `#row-${row.measure}`, text: row.name, on: { click: (event) => goToRow(event, row) } });
    const links = worseRows.slice(0, 6).flatMap((row, i) => [i > 0 ? ', ' : '', link(row)]);
    return h(
      'p',
      { class: 'summary' },
      ...sayWith('versions.summary', {
        baseline: versionName(state.baseline),
        version: versionName(column.version),
        better: h('b', { text: say('summary.better', { n: better }) }),
        worse: h('b', { text: say('summary.worse', { n: worse }) }),
        same: say('summary.same', { n: same }),
      }),
      ' ',
      worseRows.length > 0
        ? sayWith('versions.worse', {
            links: h(
              'span',
              {},
              worseRows.length > 6
                ? sayWith('versions.worse.more', { links: h('span', {}, links), n: worseRows.length - 6 })
                : links,
            ),
          })
        : null,
    );
  }

  /** One by its number, else the head of the list, of those with a state since the baseline where one is named. */
  function goToFinding({ number, since = '' }) {
    if (number === null) {
      give(parts.findings, 'choose', { number, since });
      heads.findings.scrollIntoView({ block: 'start' });
      heads.findings.focus({ preventScroll: true });
    } else give(parts.findings, 'choose', { number });
  }

  function goToRow(event, row) {
    event.preventDefault();
    const target = document.getElementById(`row-${row.measure}`);
    if (target === null) tell(el, 'wish.row', { group: row.group, measure: row.measure });
    else target.querySelector('[data-key]').focus();
  }
}

/** Does the work once a frame has been shown, and the next one is under way. */
function afterTwoFrames(work) {
  requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(work)));
}
