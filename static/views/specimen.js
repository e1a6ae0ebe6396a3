// specimen.js - one specimen: its label, what is being done to it, its versions compared, charts, findings. Mounted on the main part.
//   down: 'show', detail = the state of joins/specimen.js, or { problem } or { loading }
//   up:   the wishes of its parts, and 'wish.query', 'wish.csv', 'wish.retry', 'wish.remeasure', 'wish.row' (unfold its group and go there)
import { choice, errorBox, give, h, redraw, stateMark, tell } from '../dom.js';
import { summarize } from '../comparison.js';
import { problemText, reasonText } from '../problem.js';
import { writeRoute } from '../route.js';
import { say, sayList, sayWith } from '../say.js';
import { versionName } from '../specimen-state.js';
import { Findings } from './findings.js';
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
    controls: part('part'),
    table: part('part'),
    trends: part('some'),
    shapes: part('some'),
    mend: part('part'),
    findings: part('part'),
  };
  const heads = {
    versions: h('h2', { id: 'versions' }),
    charts: h('h2', { id: 'charts' }),
    mend: h('h2', { id: 'mend' }),
    findings: h('h2', { id: 'findings', tabindex: '-1' }),
  };
  let mounted = false;

  SpecimenLabel(parts.label);
  VersionTable(parts.table);
  TrendCharts(parts.trends);
  Histograms(parts.shapes);
  Mend(parts.mend);
  Findings(parts.findings);

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
    redraw(
      heads.versions,
      say('versions.title'),
      h('small', { text: state.baseline ? say('versions.note', { baseline: versionName(state.baseline) }) : '' }),
    );
    redraw(parts.controls, controls(state));
    give(parts.table, 'show', state);
    heads.charts.textContent = say('charts.title');
    heads.charts.parentElement.hidden = state.comparison === null;
    give(parts.trends, 'show', {
      points: state.points,
      unit: state.unit,
      latest: state.latest ? versionName(state.latest) : null,
    });
    give(parts.shapes, 'show', {
      chosen: state.chosenRecord,
      baseline: state.baselineRecord,
      metric: state.query.chart,
    });
    const mend = state.chosenRecord?.record.mend ?? null;
    redraw(
      heads.mend,
      say('mend.title', { version: state.chosen ? versionName(state.chosen) : '' }),
      h('small', { text: state.chosen?.against ? say('mend.against', { reference: state.nameOf(state.chosen.against) }) : '' }),
    );
    heads.mend.parentElement.hidden = mend === null;
    give(parts.mend, 'show', {
      run: state.chosenRun,
      mend,
      fileUnit: state.specimen.units,
      unit: state.unit,
      pointText: state.pointText,
    });
    redraw(
      heads.findings,
      say('findings.title', { version: state.chosen ? versionName(state.chosen) : '' }),
      h('small', { text: findingCounts(state) }),
    );
    heads.findings.parentElement.hidden = state.chosen === null;
    give(parts.findings, 'show', {
      run: state.chosenRun,
      name: state.chosen ? versionName(state.chosen) : '',
      findings: state.findings,
      bounds: state.chosenRecord?.record.subject.bounds ?? null,
      reference: state.chosenRecord?.record.reference?.bounds ?? null,
      unit: state.unit,
      factor: state.lengthFactor,
      faceSize: state.chosen?.face_size ?? null,
      pointText: state.pointText,
      waiting: state.waiting,
      spaceAddress:
        state.chosen?.has_pictures &&
        ((finding, number) =>
          writeRoute({
            view: 'space',
            id: state.specimen.id,
            query: {
              versions: state.chosen.id,
              colour: state.chosen.against === null ? 'none' : finding.mesh === 'reference' ? 'lost' : 'invented',
              finding: `${state.chosenRun}.${number}`,
            },
          })),
    });
  }

  function findingCounts({ findings }) {
    if (findings === null) return '';
    const count = (severity) => findings.items.filter((finding) => finding.severity === severity).length;
    return sayList([
      say('count.faults', { n: count('fault') }),
      say('count.warnings', { n: count('warning') }),
      ...(count('note') > 0 ? [say('count.notes', { n: count('note') })] : []),
    ]);
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
    ];
  }

  function controls(state) {
    if (state.versions.length === 0) return [];
    const measured = state.columns.filter(({ run }) => run !== null);
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
              chosen: state.baselineRun?.id ?? '',
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
            ['face_size', say('versions.sort.faceSize')],
          ],
          change: (value) => query({ sort: value === 'newest' ? '' : value }),
        }),
        state.specimen.units === 'unknown'
          ? null
          : choice({
              label: say('versions.unit'),
              name: 'unit',
              chosen: state.unit,
              entries: ['mm', 'cm', 'm', 'in'].map((unit) => [unit, unit]),
              change: (value) => query({ unit: value === state.specimen.units ? '' : value }),
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
            data: { key: 'csv' },
            text: say('versions.csv'),
            on: { click: () => tell(el, 'wish.csv') },
          }),
        ),
      ),
      summary(state),
    ];
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
      worseRows.length > 0 ? sayWith('versions.worse', { links: h('span', {}, links) }) : null,
    );
  }

  function goToRow(event, row) {
    event.preventDefault();
    const target = document.getElementById(`row-${row.measure}`);
    if (target === null) tell(el, 'wish.row', { group: row.group, measure: row.measure });
    else target.querySelector('[data-key]').focus();
  }
}
