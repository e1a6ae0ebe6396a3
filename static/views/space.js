// space.js - versions of one specimen in space: figures side by side or one over the other, seen by one camera, facing the list of findings.
//   down: 'show', detail = the state of joins/space.js, or { loading } or { problem, id }; 'look', detail = { finding, camera }; 'repaint'
//   up:   'wish.query', detail = changes of the address; 'wish.note', detail = { view, finding } as they are shown already
import { errorBox, give, h, redraw, tell } from '../dom.js';
import { findingText, kindName } from '../finding-text.js';
import { problemText } from '../problem.js';
import { say } from '../say.js';
import { readSetting } from '../settings.js';
import { writeRoute } from '../route.js';
import { SIDES, between, cameraText, lookAt, readCamera, wholeView } from '../space/camera.js';
import { classTable, colourTable, parseHex, readStops } from '../space/colours.js';
import { irregularVertices } from '../space/marks.js';
import { freeSight } from '../space/sight.js';
import { openStage } from '../space/stage.js';
import { SUBJECTS } from '../space/values.js';
import { Figure } from './figure.js';
import { cutAxis, cutShare, isDrawn, isOver, spaceControls } from './space-controls.js';
import { spaceLegend } from './space-legend.js';
import { LIST_MOST, SpaceList, listedFindings } from './space-list.js';
import { SpacePicked } from './space-picked.js';
import { specimenTabs } from './specimen-tabs.js';

const REST = 160; // ms without movement: then full detail comes, one figure after another
const SLOW_REST = 500; // where full detail takes longer than a reader pauses between two keys
const DIVIDER_STEP = 0.05;
const DETAIL_REACH = 1.6; // a view is wider than high
const SIDES_MOST = 300000; // triangles
const NEAR = 0.08; // of the size of the surface: as much at least is seen of a place
const CLASSES = { valence: 7, shell: 8 };

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
  let owner = null; // the run whose findings are listed
  let filter = { level: 'warning', kind: '', mesh: '' };
  let plates = [];
  const details = new Map(); // version -> { at, radius, pieces }: in place of its simplified surface there

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
  el.addEventListener('wish.pick', ({ detail }) => give(parts.picked, 'show', { state, plane: plane(), ...detail }));
  el.addEventListener('wish.filter', (event) => {
    filter = { ...filter, ...event.detail };
    drawList();
    draw(false);
  });
  el.addEventListener('wish.of', (event) => {
    owner = event.detail.run;
    drawList();
    draw(false);
  });
  el.addEventListener('wish.step', (event) => step(event.detail.by));
  SpaceList(parts.list);
  SpacePicked(parts.picked);

  function mount() {
    const colours = readColours();
    stage ??= openStage({ ...colours, tables: tables() });
    const { specimen } = state;
    const title = say('space.heading', {
      number: specimen.catalogue_number,
      versions: state.figures.map(({ name }) => name).join(', '),
    });
    redraw(
      el,
      specimenTabs(specimen, 'space'),
      h('h1', { class: 'plain', tabindex: '-1', text: title }),
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
    owner = listOwner();
    drawList();
    if (stage === null) return;
    const kept = readCamera(state.query.view);
    camera = kept ?? (camera !== null && sameSpecimen() ? camera : wholeView(unionBall()));
    shownSpecimen = specimen.id;
    redraw(parts.controls, controls());
    makePlates(colours);
    letGo();
    unmarked = state;
    parts.plates.setAttribute('aria-busy', 'true');
    setTimeout(drawBelow);
    redraw(parts.picked);
    if (chosen !== null) tellChosen();
    if (chosen !== null && kept === null) flyToChosen();
    else draw(true);
    if (chosen !== null && kept !== null) findDetail();
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

  function tables() {
    const style = getComputedStyle(document.documentElement);
    const classes = (name) =>
      classTable(Array.from({ length: CLASSES[name] }, (_, i) => parseHex(style.getPropertyValue(`--${name}-${i}`).trim())));
    return { seq: colourTable(readStops('seq')), div: colourTable(readStops('div')), valence: classes('valence'), shell: classes('shell') };
  }

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

  // --- controls ---

  const controls = () =>
    spaceControls(state, {
      query: (changes) => tell(el, 'wish.query', changes),
      moveCut: (share) => {
        cutMoved = share;
        draw(true);
      },
      whole: () => fly(wholeView(unionBall())),
      side: seeSide,
    });

  let cutMoved = null;
  /** What lies beyond it is cut away. */
  function plane() {
    const axis = cutAxis(state.query);
    if (axis === null) return null;
    const { corners } = unionBall();
    const i = 'xyz'.indexOf(axis);
    const along = corners.map((corner) => corner[i]);
    const [low, high] = [Math.min(...along), Math.max(...along)];
    return [Number(i === 0), Number(i === 1), Number(i === 2), low + (high - low) * (cutMoved ?? cutShare(state.query))];
  }

  // --- figures ---

  function makePlates(colours) {
    cutMoved = null;
    details.clear();
    const drawn = state.figures.map((figure) => ({
      ...figure,
      ball: figure.surface.ball,
      range: state.range ?? 1,
      flat: figure.cage,
    }));
    const groups = isOver(state) ? [drawn] : drawn.map((figure) => [figure]);
    plates = groups.map((figures, i) => {
      const plate = h('div', { class: 'plate view', data: { key: `figure ${i + 1}` }, tabindex: '0', role: 'group', 'aria-roledescription': say('space.figure') });
      Figure(plate);
      return { plate, figcaption: h('figcaption', { class: 'fig' }), figures, colours, number: i + 1 };
    });
    redraw(
      parts.plates,
      plates.map(({ plate, figcaption }) => h('figure', {}, plate, figcaption)),
    );
    drawCaptions();
    for (const each of plates) each.plate.setAttribute('aria-label', each.figures.map(describe).join(' '));
    parts.plates.classList.toggle('one', plates.length === 1);
  }

  function describe(figure) {
    const names = { version: figure.name, reference: state.nameOf(figure.against) };
    if (figure.map === null && figure.colour !== 'none') return say('space.caption.unknown', names);
    if (!['lost', 'invented', 'signed'].includes(figure.colour))
      return say(`space.caption.${figure.map === null ? 'plain' : figure.colour}`, names);
    const most = figure.record.deviation?.[figure.onReference ? 'reference_to_subject' : 'subject_to_reference'].max;
    if (!most) return say('space.caption.plain', names);
    return say(`space.caption.${figure.colour}`, { ...names, most: state.ruler.interval(most) });
  }

  function caption(figures) {
    const texts = figures.map(describe);
    for (const { surface, source, per, map } of figures) {
      if (!surface.simplified) continue;
      const error = state.ruler.bound(surface.simplificationError);
      const n = surface.triangleCount;
      texts.push(say(details.has(source.version) ? 'space.simplifiedElsewhere' : 'space.simplified', { n, error }));
      if (map !== null && per === 'face') texts.push(say('space.simplifiedColour'));
    }
    return texts.join(' ');
  }

  function drawCaptions() {
    for (const { figcaption, figures, number } of plates)
      redraw(figcaption, h('b', { text: say('space.fig', { number }) }), ' ', caption(figures));
  }

  /** Marks and sides, once the figures are drawn; each figure is drawn again when its own are there. */
  async function findMarks() {
    const mine = state;
    const { query, loader } = state;
    for (const each of plates)
      for (const figure of each.figures) {
        const { surface, source } = figure;
        const wantsShapes = isDrawn(query, 'irregular') && (figure.cage || figure.colour === 'valence');
        const [marks, edges, sides] = await Promise.all([
          isDrawn(query, 'open') ? loader.marksOf(surface).catch(() => null) : null,
          wantsShapes ? loader.edgesOf(source.version).catch(() => null) : null,
          isDrawn(query, 'sides') && surface.triangleCount <= SIDES_MOST ? loader.sidesOf(surface).catch(() => null) : null,
        ]);
        if (mine !== state) return;
        figure.sides = sides;
        figure.marks = {
          open: marks?.open ?? new Uint32Array(0),
          crowded: marks?.crowded ?? new Uint32Array(0),
          irregular: edges ? irregularVertices(edges, source.kind) : [],
        };
        drawPlate(each, false);
      }
    parts.plates.setAttribute('aria-busy', 'false');
  }

  /** Of the list's findings those on what a figure shows; of a chosen one its place in every figure, on whatever it is. */
  function tagsFor({ figures }) {
    const { number, finding } = chosen === null ? {} : chosenPlace();
    if (finding) return finding.at ? [tagOf({ finding, number, id: chosen })] : [];
    return figures.flatMap((figure) =>
      (figure.run === owner ? listedFindings(figure, filter, chosen) : [])
        .filter(({ finding: each }) => each.at && (each.mesh === 'reference') === figure.onReference)
        .slice(0, LIST_MOST)
        .map(tagOf),
    );
  }

  function tagOf({ finding, number, id }) {
    return {
      id,
      number,
      at: finding.at,
      radius: finding.radius ?? 0,
      chosen: id === chosen,
      kind: finding.kind === 'lost' ? 'lost' : finding.kind === 'invented' ? 'invented' : 'form',
      label: say('space.tag', { number, kind: kindName(finding.kind) }),
    };
  }

  /** While the camera moves the coarse surfaces are drawn, once a frame; at rest the fine ones, a figure after another. */
  let frame = null;
  function draw(moving) {
    if (state === null || stage === null || plates.length === 0) return;
    clearTimeout(resting);
    if (!moving) {
      settle();
      return;
    }
    frame ??= requestAnimationFrame(() => {
      frame = null;
      if (state === null) return;
      plates.forEach((each) => drawPlate(each, true));
      stage.drawWaiting();
      clearTimeout(resting);
      resting = setTimeout(settle, stage.slow ? SLOW_REST : REST);
    });
  }
  let unmarked = null;
  function settle() {
    cancelAnimationFrame(frame);
    frame = null;
    const queue = [...plates];
    const next = () => {
      const each = queue.shift();
      if (state === null) return;
      if (each === undefined) {
        if (unmarked !== state) return;
        unmarked = null;
        findMarks();
        return;
      }
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
      detail: details.get(figure.source.version) ?? null,
    }));
    const [first, second] = swapped ? [...figures].reverse() : figures;
    const detail = {
      figures: second && !swapped ? [first, second] : [first],
      camera,
      stage,
      colours: each.colours,
      moving,
      divider,
      unit: state.unit,
      factor: state.factor,
      named: each.figures.length > 1,
      tags: tagsFor(each),
    };
    each.plate.dispatchEvent(new CustomEvent('draw', { detail })); // at once, for it may be under the finger
  }

  function setCamera(next, moving = true) {
    camera = next;
    for (const { plate } of plates) plate.dispatchEvent(new CustomEvent('aim', { detail: { camera } }));
    draw(moving);
    clearTimeout(noting);
    noting = setTimeout(() => noteCamera(), 600);
  }
  let noting = null;
  /** The address keeps the view, so that a link shows the same; none while the views fly to a finding, for the finding leads there. */
  function noteCamera(view = cameraText(camera)) {
    if (state === null) return;
    const noted = { view, finding: chosen };
    state.query = { ...state.query, ...noted };
    tell(el, 'wish.note', noted);
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
    let begin = null; // by the clock of the frames: a frame that was long in coming is told when it was due, not when it came
    const step = (now) => {
      begin ??= now;
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

  const listOwner = () => {
    const runs = state.figures.map(({ run }) => run);
    const wanted = chosen?.split('.')[0];
    return runs.includes(wanted) ? wanted : runs.includes(owner) ? owner : runs.at(-1);
  };

  const drawList = () => give(parts.list, 'show', { state, run: owner, chosen, filter });

  function step(by) {
    const figure = state.figures.find(({ run }) => run === owner) ?? state.figures.at(-1);
    const rows = listedFindings(figure, filter, chosen);
    if (rows.length === 0) return;
    const at = rows.findIndex(({ id }) => id === chosen);
    choose(rows[at < 0 ? (by > 0 ? 0 : rows.length - 1) : (at + by + rows.length) % rows.length].id);
  }

  function choose(id) {
    chosen = id;
    owner = listOwner();
    drawList();
    if (wide.matches) document.getElementById(`finding-${id.split('.')[1]}`)?.scrollIntoView({ block: 'nearest' });
    flyToChosen();
    if (chosenPlace().finding?.at) noteCamera(null);
    else noteCamera();
  }

  function chosenPlace() {
    const [run, number] = chosen.split('.');
    const figure = state.figures.find((each) => each.run === run);
    return { number, figure, finding: figure?.findings[Number(number) - 1] };
  }

  /** The chosen finding once more under the figures, where those stand above the list. */
  function tellChosen() {
    const { figure, number, finding } = chosenPlace();
    if (!finding) return;
    const text = findingText(finding, { version: figure.name, reference: state.nameOf(figure.against), ruler: state.ruler });
    redraw(parts.picked, h('p', {}, h('b', { text: `${number}. ` }), text));
  }

  const reachOf = ({ surface }, { radius }) => Math.min(Math.max(4 * (radius ?? 0), NEAR * surface.ball.radius), surface.ball.radius);

  function flyToChosen() {
    if (chosen === null || stage === null) return draw(false);
    const { figure, finding } = chosenPlace();
    tellChosen();
    if (!finding?.at) return draw(false);
    const distances = SUBJECTS[figure.colour].field ? figure.values : null;
    const towards = freeSight(figure.surface, finding.at, finding.radius ?? 0, distances);
    fly(lookAt(finding.at, towards, reachOf(figure, finding)));
    findDetail();
    return undefined;
  }

  /** All triangles near the chosen finding, where the surface is a simplified one. */
  async function findDetail() {
    const mine = state;
    const place = chosen;
    const { figure: found, finding } = chosenPlace();
    details.clear();
    if (!finding?.at) return;
    for (const { surface, source } of state.figures) {
      if (!surface.simplified || details.has(source.version)) continue;
      const detail = await state.loader.detailOf(source, finding.at, DETAIL_REACH * reachOf(found, finding)).catch(() => null);
      if (mine !== state || place !== chosen) return;
      if (detail !== null) details.set(source.version, { at: finding.at, ...detail });
    }
    if (details.size === 0) return;
    letGo();
    drawCaptions();
    draw(false);
  }

  /** Gives back what the graphics hold of surfaces that are not shown any more. */
  function letGo() {
    stage.keepOnly([...state.figures, ...[...details.values()].flatMap(({ pieces }) => pieces.map((piece) => ({ surface: piece, values: piece.values })))]);
  }

  // --- below the figures ---

  function drawBelow() {
    redraw(parts.below, state.colour === 'none' ? null : spaceLegend(state, seeBox), h('p', { class: 'caution', text: say('space.note') }));
  }

  /** A shell, by its box. */
  function seeBox({ min, max }) {
    const corners = Array.from({ length: 8 }, (_, k) => [0, 1, 2].map((axis) => ((k >> axis) & 1 ? max : min)[axis]));
    const centre = min.map((x, axis) => (x + max[axis]) / 2);
    const radius = Math.hypot(...max.map((x, axis) => x - min[axis])) / 2;
    fly(wholeView({ centre, radius: radius || state.figures[0].surface.ball.radius, corners }, camera));
  }

  // --- keys ---

  document.addEventListener('keydown', (event) => {
    if (!isHere(event)) return;
    if (event.key === 'n') step(1);
    else if (event.key === 'p') step(-1);
    else if (event.key === '0') fly(wholeView(unionBall()));
    else if (/^[1-6]$/.test(event.key)) seeSide(Number(event.key) - 1);
    else if (event.key === 'x' && isOver(state)) hold(true);
    else if ((event.key === '[' || event.key === ']') && isOver(state)) {
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
