// space.js - versions of one specimen in space: figures side by side or one over the other, seen by one camera, facing the list of findings.
//   down: 'show', detail = the state of joins/space.js, or { loading } or { problem, id }; 'look', detail = { finding, camera }; 'repaint'
//   up:   'wish.query', detail = changes of the address
import { choice, errorBox, give, h, hidden, redraw, shape, tell } from '../dom.js';
import { formatCount, formatInterval, formatValue, withUnit } from '../format.js';
import { problemText } from '../problem.js';
import { say, sayOr } from '../say.js';
import { readSetting } from '../settings.js';
import { writeRoute } from '../route.js';
import { versionName } from '../specimen-state.js';
import { SIDES, between, cameraText, lookAt, readCamera, wholeView } from '../space/camera.js';
import { colourTable, parseHex, readStops } from '../space/colours.js';
import { firstHit } from '../space/picking.js';
import { openStage } from '../space/stage.js';
import { faceOf, nearestVertex, normalOf } from '../space/surface.js';
import { SUBJECTS } from '../space/values.js';
import { Figure } from './figure.js';
import { spaceLegend } from './space-legend.js';
import { specimenTabs } from './specimen-tabs.js';

const REST = 160; // ms without movement: then full detail comes, one figure after another
const DIVIDER_STEP = 0.05;
const FINDINGS = 40;
const LEVELS = { fault: ['fault'], warning: ['fault', 'warning'], note: ['fault', 'warning', 'note'] };
const AXES = ['x', 'y', 'z'];

/** @param {HTMLElement} el */
export function SpaceView(el) {
  const parts = {
    controls: h('div', { class: 'part' }),
    list: h('section', { 'aria-labelledby': 'explanation' }),
    plates: h('div', { class: 'plates' }),
    picked: h('div', { class: 'picked', role: 'status' }),
    below: h('div', {}),
  };
  let state = null;
  let stage = null;
  let camera = null;
  let flight = null;
  let resting = null;
  let divider = 0.5;
  let swapped = false;
  let chosen = null; // 'RUN.NUMBER'
  let filter = { of: null, level: 'warning', kind: '', mesh: '' };
  let plates = [];
  const marked = new WeakMap();

  el.addEventListener('show', (event) => {
    const next = event.detail;
    if (next.problem || next.loading) {
      state = null;
      redraw(
        el,
        h('h1', { class: next.loading ? 'hide' : 'plain', text: say('space.title') }),
        next.loading ? h('p', { class: 'quiet', text: say('loading') }) : errorBox(problemText(next.problem)),
        next.problem ? h('p', {}, h('a', { href: writeRoute({ view: 'specimen', id: next.id }), text: say('space.back') })) : null,
      );
      return;
    }
    state = next;
    mount();
  });
  el.addEventListener('look', (event) => {
    if (state === null) return;
    chosen = event.detail.finding;
    flyToChosen();
    drawList();
  });
  el.addEventListener('repaint', () => state && mount());
  el.addEventListener('wish.camera', (event) => {
    stopFlight();
    setCamera(event.detail.camera);
  });
  el.addEventListener('wish.finding', (event) => choose(event.detail.finding));
  el.addEventListener('wish.pick', (event) => pick(event.detail));

  function mount() {
    const colours = readColours();
    stage ??= openStage({ ...colours, tables: { plain: colourTable(readStops('seq')), signed: colourTable(readStops('div')) } });
    const { specimen } = state;
    const title = say('space.heading', {
      number: specimen.catalogue_number,
      versions: state.figures.map(({ name }) => name).join(', '),
    });
    redraw(
      el,
      specimenTabs(specimen, 'space'),
      h('h1', { class: 'plain', text: title }),
      ...(state.figures.length === 0
        ? [h('p', { class: 'quiet', text: say('space.nothing') })]
        : stage === null
          ? [h('p', { text: say('space.noWebGL') }), parts.list]
          : [
              parts.controls,
              h('div', { class: 'facing space' }, inOrder()),
            ]),
    );
    if (state.figures.length === 0) return;
    chosen = state.query.finding ?? null;
    filter = { ...filter, of: filterOwner() };
    drawList();
    if (stage === null) return;
    const kept = readCamera(state.query.view);
    camera = kept ?? (camera !== null && sameSpecimen() ? camera : wholeView(unionBall()));
    shownSpecimen = specimen.id;
    redraw(parts.controls, controls());
    makePlates(colours);
    stage.keepOnly(state.figures.map(({ surface }) => surface));
    drawBelow();
    redraw(parts.picked);
    if (chosen !== null) tellChosen();
    if (chosen !== null && kept === null) flyToChosen();
    else draw(false);
    findMarks();
  }

  /** The list stands before the figures where they stand side by side, and after them where they do not: the order of the focus is
   *  that of the eye. */
  const wide = matchMedia('(min-width: 64rem)');
  const figures = h('section', { 'aria-label': say('space.figures') }, parts.plates, parts.picked, parts.below);
  const inOrder = () => (wide.matches ? [parts.list, figures] : [figures, parts.list]);
  wide.addEventListener('change', () => el.querySelector('.facing.space')?.replaceChildren(...inOrder()));

  new ResizeObserver(() => draw(false)).observe(parts.plates);

  let shownSpecimen = null;
  const sameSpecimen = () => shownSpecimen === state.specimen.id;

  function readColours() {
    const style = getComputedStyle(document.documentElement);
    const value = (name) => style.getPropertyValue(name).trim();
    return {
      mark: value('--mark'),
      halo: value('--halo'),
      bare: parseHex(value('--bare')),
      inside: parseHex(value('--inside')),
    };
  }

  /** A ball about all that is drawn. */
  function unionBall() {
    const [first, ...rest] = state.figures.map(({ surface }) => surface.ball);
    return rest.reduce((sum, ball) => {
      const apart = Math.hypot(...ball.centre.map((x, i) => x - sum.centre[i]));
      return {
        centre: sum.centre,
        radius: Math.max(sum.radius, apart + ball.radius),
        corners: [...sum.corners, ...ball.corners],
      };
    }, first);
  }

  const isOver = () => state.query.beside === 'no' && state.figures.length === 2;

  // --- controls ---

  function controls() {
    const query = (changes) => tell(el, 'wish.query', changes);
    const shown = state.figures.map(({ version }) => version.id);
    return h(
      'form',
      { class: 'controls', 'aria-label': say('space.controls'), on: { submit: (event) => event.preventDefault() } },
      h(
        'details',
        { class: 'choose', data: { open: 'versions' } },
        h('summary', { text: say('space.choose', { n: shown.length }) }),
        h(
          'fieldset',
          {},
          h('legend', { class: 'hide', text: say('space.chooseTitle') }),
          state.versions.map((version) =>
            h(
              'label',
              {},
              h('input', {
                type: 'checkbox',
                data: { key: `version ${version.id}` },
                prop: { checked: shown.includes(version.id) },
                disabled: !shown.includes(version.id) && shown.length >= state.figuresMost,
                on: {
                  change: (event) =>
                    query({
                      versions: (event.target.checked
                        ? [...shown, version.id]
                        : shown.filter((each) => each !== version.id)
                      ).join(','),
                    }),
                },
              }),
              versionName(version),
            ),
          ),
        ),
      ),
      state.figures.length === 2
        ? choice({
            label: say('space.arrangement'),
            name: 'beside',
            chosen: isOver() ? 'no' : 'yes',
            entries: ['yes', 'no'].map((value) => [value, say(`space.beside.${value}`)]),
            change: (value) => query({ beside: value === 'yes' ? null : value }),
          })
        : null,
      choice({
        label: say('space.colourBy'),
        name: 'colour',
        chosen: state.colour,
        entries: Object.keys(SUBJECTS).map((name) => [name, say(`space.colour.${name}`)]),
        change: (value) => query({ colour: value, range: null }),
      }),
      state.colour === 'none'
        ? null
        : h(
            'label',
            {},
            h('span', { text: say('space.range') }),
            h('input', {
              class: 'n',
              size: 6,
              inputmode: 'decimal',
              data: { key: 'range' },
              value: formatValue(state.range * state.factor, 4),
              on: {
                change: (event) => {
                  const range = Number(event.target.value.replace(',', '.').replace(/\s/g, ''));
                  query({ range: range > 0 ? String(range) : null });
                },
              },
            }),
            h('span', { class: 'unit', text: state.unit }),
          ),
      choice({
        label: say('space.section'),
        name: 'cut',
        chosen: cutAxis() ?? '',
        entries: [['', say('space.section.none')], ...AXES.map((axis) => [axis, say('space.section.across', { axis })])],
        change: (value) => query({ cut: value === '' ? null : `${value}0.5` }),
      }),
      cutAxis() === null
        ? null
        : h(
            'label',
            {},
            hidden(say('space.section.where')),
            h('input', {
              type: 'range',
              min: 0,
              max: 1,
              step: 0.01,
              value: cutShare(),
              data: { key: 'cut share' },
              on: {
                input: (event) => moveCut(Number(event.target.value)),
                change: (event) => query({ cut: `${cutAxis()}${event.target.value}` }),
              },
            }),
          ),
      h(
        'fieldset',
        {},
        h('legend', { text: say('space.over') }),
        ['sides', 'open', 'irregular'].map((name) =>
          h(
            'label',
            {},
            h('input', {
              type: 'checkbox',
              data: { key: name },
              prop: { checked: isDrawn(name) },
              on: { change: (event) => query({ [name]: event.target.checked === (name !== 'sides') ? null : event.target.checked ? 'yes' : 'no' }) },
            }),
            say(`space.over.${name}`),
          ),
        ),
      ),
      h(
        'div',
        { class: 'sides' },
        h('button', { type: 'button', data: { key: 'whole' }, text: say('space.whole'), on: { click: () => fly(wholeView(unionBall())) } }),
        choice({
          label: say('space.side'),
          name: 'side',
          chosen: '',
          entries: [['', say('space.side.any')], ...SIDES.map(({ name }, i) => [String(i), say(`space.side.${name}`)])],
          change: (value) => value !== '' && seeSide(Number(value)),
        }),
      ),
    );
  }

  /** Sides are drawn where asked, the other marks unless they are not wanted. */
  const isDrawn = (name) => (name === 'sides' ? state.query.sides === 'yes' : state.query[name] !== 'no');

  const cutAxis = () => (AXES.includes(state.query.cut?.[0]) ? state.query.cut[0] : null);
  const cutShare = () => Math.max(0, Math.min(1, Number(state.query.cut?.slice(1)) || 0));
  let cutMoved = null;
  function moveCut(share) {
    cutMoved = share;
    draw(true);
  }
  function plane() {
    const axis = cutAxis();
    if (axis === null) return null;
    const { centre, radius } = unionBall();
    const i = AXES.indexOf(axis);
    const normal = AXES.map((each) => Number(each === axis));
    return [...normal, centre[i] + radius * (2 * (cutMoved ?? cutShare()) - 1)];
  }

  // --- figures ---

  function makePlates(colours) {
    cutMoved = null;
    const drawn = state.figures.map((figure) => ({
      ...figure,
      ball: figure.surface.ball,
      range: state.range,
      flat: figure.cage,
    }));
    const groups = isOver() ? [drawn] : drawn.map((figure) => [figure]);
    plates = groups.map((figures, i) => {
      const plate = h('div', { class: 'plate view', tabindex: '0', role: 'group', 'aria-roledescription': say('space.figure') });
      Figure(plate);
      return { plate, figures, colours, number: i + 1, due: true };
    });
    redraw(
      parts.plates,
      plates.map(({ plate, figures, number }) =>
        h('figure', {}, plate, h('figcaption', { class: 'fig' }, h('b', { text: say('space.fig', { number }) }), ' ', caption(figures))),
      ),
    );
    for (const each of plates) each.plate.setAttribute('aria-label', each.figures.map(describe).join(' '));
    parts.plates.classList.toggle('one', plates.length === 1);
  }

  function describe(figure) {
    const side = figure.onReference ? 'reference_to_subject' : 'subject_to_reference';
    const most = figure.record.deviation?.[side].max;
    const names = { version: figure.name, reference: state.nameOf(figure.against) };
    if (figure.colour === 'none' || !most) return say('space.caption.plain', names);
    const text = withUnit(
      formatInterval(most.lower * state.factor, most.upper * state.factor, say('interval.to')),
      state.unit,
    );
    return say(`space.caption.${figure.colour}`, { ...names, most: text });
  }

  function caption(figures) {
    const simplified = figures.filter(({ surface }) => surface.simplified);
    return [
      figures.map(describe).join(' '),
      ' ',
      ...simplified.map(({ surface }) =>
        say('space.simplified', {
          n: surface.triangleCount,
          error: state.lengthText(surface.simplificationError),
        }),
      ),
    ];
  }

  async function findMarks() {
    const mine = state;
    for (const { figures } of plates)
      for (const figure of figures) {
        const { surface } = figure;
        if (surface.simplified || surface.vertexCount >= 2 ** 21) continue;
        const found = await state.marksOf(surface).catch(() => null);
        if (mine !== state) return;
        if (found !== null) marked.set(surface, found);
      }
    draw(false);
  }

  function marksFor(figure) {
    const found = marked.get(figure.surface);
    if (found === undefined) return null;
    return {
      open: isDrawn('open') ? found.open : new Uint32Array(0),
      crowded: isDrawn('open') ? found.crowded : new Uint32Array(0),
      irregular: isDrawn('irregular') && figure.cage ? found.irregular : [],
    };
  }

  function tagsFor({ figures }) {
    return figures.flatMap((figure) =>
      listed(figure)
        .filter(({ finding }) => (finding.mesh === 'reference') === figure.onReference)
        .slice(0, FINDINGS)
        .map(({ finding, number, id }) => ({
          id,
          number,
          at: finding.at,
          radius: finding.radius ?? 0,
          chosen: id === chosen,
          kind: finding.kind === 'lost' ? 'lost' : finding.kind === 'invented' ? 'invented' : 'form',
          label: say('space.tag', { number, kind: sayOr(`finding.${finding.kind}`, finding.kind) }),
        }))
        .filter((tag) => tag.chosen || chosen === null),
    );
  }

  /** While the camera moves the coarse surfaces are drawn; at rest the fine ones, a figure at a time. */
  function draw(moving) {
    if (state === null || stage === null || plates.length === 0) return;
    clearTimeout(resting);
    plates.forEach((each) => drawPlate(each, moving));
    if (moving) resting = setTimeout(settle, REST);
  }
  function settle() {
    const queue = [...plates];
    const next = () => {
      const each = queue.shift();
      if (each === undefined || state === null) return;
      drawPlate(each, false);
      resting = setTimeout(next);
    };
    next();
  }
  function drawPlate(each, moving) {
    const cut = plane();
    const figures = each.figures.map((figure) => ({
      ...figure,
      plane: cut,
      sides: isDrawn('sides') ? (marked.get(figure.surface)?.sides ?? null) : null,
      marks: marksFor(figure),
    }));
    const [first, second] = swapped ? [...figures].reverse() : figures;
    give(each.plate, 'draw', {
      figures: second && !swapped ? [first, second] : [first],
      camera,
      stage,
      colours: each.colours,
      moving,
      divider,
      unit: state.unit,
      factor: state.factor,
      tags: tagsFor(each),
    });
  }

  function setCamera(next, moving = true) {
    camera = next;
    draw(moving);
    clearTimeout(noting);
    noting = setTimeout(() => noteCamera(), 600);
  }
  let noting = null;
  /** The address keeps the view, so that a link shows the same. */
  function noteCamera() {
    if (state === null) return;
    state.query = { ...state.query, view: cameraText(camera) };
    history.replaceState(null, '', writeRoute({ view: 'space', id: state.specimen.id, query: state.query }));
  }

  function stopFlight() {
    cancelAnimationFrame(flight);
    flight = null;
  }
  function fly(to) {
    stopFlight();
    const from = camera;
    const style = getComputedStyle(document.documentElement).getPropertyValue('--fly').trim();
    const duration = style.endsWith('ms') ? Number.parseFloat(style) : Number.parseFloat(style) * 1000;
    if (!(duration > 0)) {
      setCamera(to);
      return;
    }
    const begin = performance.now();
    const step = (now) => {
      const share = Math.min(1, (now - begin) / duration);
      setCamera(between(from, to, share));
      flight = share < 1 ? requestAnimationFrame(step) : null;
    };
    flight = requestAnimationFrame(step);
  }
  function seeSide(i) {
    fly(wholeView(unionBall(), SIDES[i]));
  }

  // --- findings ---

  const filterOwner = () => {
    const runs = state.figures.map(({ run }) => run);
    const wanted = chosen?.split('.')[0];
    return runs.includes(wanted) ? wanted : runs.includes(filter.of) ? filter.of : runs.at(-1);
  };

  function listed(figure) {
    if (figure.run !== filter.of) return [];
    return figure.findings
      .map((finding, i) => ({ finding, number: i + 1, id: `${figure.run}.${i + 1}` }))
      .filter(
        ({ finding, id }) =>
          id === chosen ||
          (LEVELS[filter.level].includes(finding.severity) &&
            (filter.kind === '' || finding.kind === filter.kind) &&
            (filter.mesh === '' || finding.mesh === filter.mesh)),
      );
  }
  const owner = () => state.figures.find(({ run }) => run === filter.of) ?? state.figures.at(-1);

  function drawList() {
    const figure = owner();
    const rows = listed(figure);
    const kinds = [...new Set(figure.findings.map(({ kind }) => kind))];
    const change = (changes) => {
      filter = { ...filter, ...changes };
      drawList();
      draw(false);
    };
    redraw(
      parts.list,
      h(
        'h2',
        { id: 'explanation', class: 'top' },
        say('space.explanation'),
        h('small', { text: say('space.findingsOf', { n: figure.findings.length, version: figure.name }) }),
      ),
      h(
        'form',
        { class: 'controls', 'aria-label': say('findings.filter'), on: { submit: (event) => event.preventDefault() } },
        state.figures.length > 1
          ? choice({
              label: say('space.of'),
              name: 'of',
              chosen: filter.of,
              entries: state.figures.map(({ run, name }) => [run, name]),
              change: (of) => change({ of }),
            })
          : null,
        choice({
          label: say('findings.kind'),
          name: 'kind',
          chosen: filter.kind,
          entries: [['', say('findings.allKinds')], ...kinds.map((kind) => [kind, sayOr(`finding.${kind}`, kind.replaceAll('_', ' '))])],
          change: (kind) => change({ kind }),
        }),
        choice({
          label: say('findings.show'),
          name: 'level',
          chosen: filter.level,
          entries: Object.keys(LEVELS).map((level) => [level, say(`findings.level.${level}`)]),
          change: (level) => change({ level }),
        }),
        choice({
          label: say('space.mesh'),
          name: 'mesh',
          chosen: filter.mesh,
          entries: ['', 'subject', 'reference'].map((mesh) => [mesh, say(`space.mesh.${mesh || 'both'}`)]),
          change: (mesh) => change({ mesh }),
        }),
      ),
      h(
        'p',
        { class: 'acts' },
        h('button', { type: 'button', data: { key: 'previous' }, text: say('space.previous'), on: { click: () => step(-1) } }),
        h('button', { type: 'button', data: { key: 'next' }, text: say('space.next'), on: { click: () => step(1) } }),
      ),
      rows.length === 0
        ? h('p', { class: 'quiet', text: figure.findings.length === 0 ? say('findings.none', { version: figure.name }) : say('findings.noneShown') })
        : h('ol', { class: 'findings' }, rows.slice(0, FINDINGS).map(row)),
      rows.length > FINDINGS ? h('p', { class: 'quiet', text: say('space.moreFindings', { n: rows.length - FINDINGS }) }) : null,
    );
  }

  function row({ finding, number, id }) {
    const distance = finding.distance;
    const reach = distance
      ? withUnit(formatInterval(distance.lower * state.factor, distance.upper * state.factor, say('interval.to')), state.unit)
      : null;
    return h(
      'li',
      { id: `finding-${number}`, class: id === chosen ? 'now' : null },
      h('b', { text: String(number) }),
      h(
        'div',
        {},
        h('a', {
          class: 'head',
          href: writeRoute({ view: 'space', id: state.specimen.id, query: { ...state.query, view: null, finding: id } }),
          'aria-current': id === chosen ? 'true' : null,
          data: { key: `finding ${id}` },
          text: sayOr(`finding.${finding.kind}`, finding.kind.replaceAll('_', ' ')),
          on: {
            click: (event) => {
              event.preventDefault();
              choose(id);
            },
          },
        }),
        h(
          'p',
          { class: 'meta' },
          h('span', {}, shape(finding.severity), say(`severity.${finding.severity}`)),
          reach ? h('span', { text: reach }) : null,
          finding.faces_total ? h('span', { text: say('findings.faces', { n: finding.faces_total }) }) : null,
          finding.mesh === 'reference' ? h('span', { text: say('findings.onReference') }) : null,
        ),
        h('p', { class: 'break', text: finding.text }),
      ),
    );
  }

  function step(by) {
    const rows = listed(owner());
    if (rows.length === 0) return;
    const at = rows.findIndex(({ id }) => id === chosen);
    choose(rows[at < 0 ? (by > 0 ? 0 : rows.length - 1) : (at + by + rows.length) % rows.length].id);
  }

  function choose(id) {
    chosen = id;
    state.query = { ...state.query, finding: id };
    filter = { ...filter, of: filterOwner() };
    drawList();
    if (wide.matches) document.getElementById(`finding-${id.split('.')[1]}`)?.scrollIntoView({ block: 'nearest' });
    flyToChosen();
    noteCamera();
  }

  function chosenPlace() {
    const [run, number] = chosen.split('.');
    const figure = state.figures.find((each) => each.run === run);
    return { number, figure, finding: figure?.findings[Number(number) - 1] };
  }

  /** The chosen finding once more under the figures, where those stand above the list. */
  function tellChosen() {
    const { number, finding } = chosenPlace();
    if (finding) redraw(parts.picked, h('p', {}, h('b', { text: `${number}. ` }), finding.text));
  }

  function flyToChosen() {
    if (chosen === null || stage === null) return draw(false);
    const { figure, finding } = chosenPlace();
    tellChosen();
    if (!finding?.at) return draw(false);
    const near = nearestVertex(figure.surface, finding.at);
    const radius = Math.max(4 * (finding.radius ?? 0), 0.08 * figure.surface.ball.radius);
    fly(lookAt(finding.at, normalOf(figure.surface, near), Math.min(radius, figure.surface.ball.radius)));
    return undefined;
  }

  // --- picking ---

  function pick({ figure, ray }) {
    const hit = firstHit(figure.surface, ray, plane());
    if (hit === null) {
      redraw(parts.picked);
      return;
    }
    const face = faceOf(figure.surface, hit.triangle);
    const corners = [0, 1, 2].map((i) => figure.surface.triangles[3 * hit.triangle + i]);
    const values = figure.values === null ? [] : corners.map((v) => figure.values[v]).filter((value) => !Number.isNaN(value));
    redraw(
      parts.picked,
      h(
        'p',
        {},
        [
          face === null ? say('space.picked.simplified') : say('space.picked.face', { face: formatCount(face), version: figure.onReference ? state.nameOf(figure.against) : figure.name }),
          say('space.picked.at', { place: state.pointText(hit.at) }),
          values.length > 0
            ? say('space.picked.value', {
                what: say(`space.value.${figure.colour}`),
                value: withUnit(
                  formatInterval(Math.min(...values) * state.factor, Math.max(...values) * state.factor, say('interval.to')),
                  state.unit,
                ),
              })
            : '',
        ].join(' '),
      ),
    );
  }

  // --- below the figures ---

  function drawBelow() {
    redraw(
      parts.below,
      state.colour === 'none' ? null : spaceLegend(state),
      h('p', { class: 'caution', text: say('space.note') }),
    );
  }

  // --- keys ---

  document.addEventListener('keydown', (event) => {
    if (!isHere(event)) return;
    if (event.key === 'n') step(1);
    else if (event.key === 'p') step(-1);
    else if (event.key === '0') fly(wholeView(unionBall()));
    else if (/^[1-6]$/.test(event.key)) seeSide(Number(event.key) - 1);
    else if (event.key === 'x' && isOver()) hold(true);
    else if ((event.key === '[' || event.key === ']') && isOver()) {
      divider = Math.max(0, Math.min(1, divider + (event.key === '[' ? -DIVIDER_STEP : DIVIDER_STEP)));
      draw(false);
    } else if (event.key === 'Escape') parts.list.querySelector('a[aria-current], a')?.focus();
    else return;
    event.preventDefault();
  });
  document.addEventListener('keyup', (event) => {
    if (event.key === 'x' && swapped) hold(false);
  });
  function hold(on) {
    if (swapped === on) return;
    swapped = on;
    draw(false);
  }
  function isHere(event) {
    return (
      state !== null &&
      el.isConnected &&
      plates.length > 0 &&
      !event.ctrlKey &&
      !event.metaKey &&
      !event.altKey &&
      readSetting('keys') === 'on' &&
      !event.target.closest?.('input, select, textarea, dialog')
    );
  }
}
