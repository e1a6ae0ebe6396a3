// space.js - joins the views in space to the server: which versions stand side by side, what they are coloured by, their findings.
// What the reader chose is kept in the address, so that every picture has a link.
import * as api from '../api.js';
import { defaultBaseline, latestMeasured, orderVersions, runOf } from '../comparison.js';
import { give } from '../dom.js';
import { readList, writeRoute } from '../route.js';
import { rulerOf } from '../ruler.js';
import { openLoader } from '../space/load.js';
import { SUBJECTS, extent } from '../space/values.js';
import { roundRange } from '../space/colours.js';
import { say } from '../say.js';
import { shownDecimals, shownUnit } from '../settings.js';
import { versionName } from '../specimen-state.js';
import { SpaceView } from '../views/space.js';

const FIGURES_MOST = 4;
const ASPECT_RANGE_LEAST = 2;

/** @param {HTMLElement} el @param {object} page  app.js */
export function joinSpace(el, page) {
  let id = null;
  let query = {};
  let asked = 0;
  const loader = openLoader();
  const records = new Map();

  SpaceView(el);

  const record = (run) => {
    if (!records.has(run)) records.set(run, Promise.all([api.readRun(run), api.readFindings(run)]));
    return records.get(run);
  };

  /** The versions asked for, else the latest and the one before it. */
  function chooseVersions(versions) {
    const wanted = readList(query.versions)
      .map((each) => versions.find((version) => version.id === each))
      .filter((version) => version?.latest_run);
    if (wanted.length > 0) return wanted.slice(0, FIGURES_MOST);
    const [latest, before] = [latestMeasured(versions), defaultBaseline(versions)];
    return latest === null ? [] : latest === before ? [latest] : [before, latest];
  }

  /** null where the run does not tell them: what is inside of a surface that is not closed. */
  const valuesOf = (source) =>
    loader.valuesOf(source).catch((problem) => {
      if (problem.status === 404) return null;
      throw problem;
    });

  /** One figure: what is drawn, and coloured by what. What needs a reference is drawn plain where a version has none. */
  async function makeFigure(version, wanted) {
    const run = runOf(version, null);
    const [[{ record: runRecord }, findings], runs] = await Promise.all([record(run), api.listRuns(version.id)]);
    // of the run, not of the version: a reference that was changed since is measured against later
    const against = runs.find((each) => each.id === run)?.against ?? version.against;
    const colour = runRecord.reference === null && SUBJECTS[wanted].field ? 'none' : wanted;
    const subject = SUBJECTS[colour];
    const onReference = subject.mesh === 'reference';
    const source = { version: onReference ? against : version.id, run, colour, kind: onReference ? 'scan' : version.kind };
    const surface = await loader.surfaceOf(source.version);
    const values = subject.map === null ? null : await valuesOf(source);
    return {
      version,
      against,
      run,
      record: runRecord,
      findings: findings.items,
      name: versionName(version),
      colour,
      map: values === null ? null : subject.map,
      per: subject.per,
      onReference,
      source,
      surface,
      values,
      cage: source.kind === 'cage',
    };
  }

  /** Where the map ends unless told, as it is drawn: a round number, no less than the greatest; null where there are classes. */
  function rangeOf(figures, colour, factor) {
    const { map } = SUBJECTS[colour];
    const asked = Number(query.range);
    if (map !== 'seq' && map !== 'div') return null;
    if (colour === 'aspect') {
      const most = figures.map(({ record: { kind, subject } }) => subject.quality?.[kind === 'cage' ? 'quad' : 'tri']?.aspect_ratio?.p99 ?? 1);
      return Math.log2(asked > 1 ? asked : Math.max(ASPECT_RANGE_LEAST, roundRange(Math.max(...most))));
    }
    if (asked > 0) return asked; // in the unit of the file: a link shows the same to everybody
    const own = figures.map(({ values }) => {
      if (values === null) return 0;
      const { least, most } = extent(values);
      return map === 'div' ? Math.max(Math.abs(least), Math.abs(most)) : most;
    });
    return roundRange(Math.max(0, ...own) * factor) / factor;
  }

  /** How far a face is from the other surface, as a certified interval; null where the run has no reference. */
  async function distanceOf({ run, onReference, record: { reference } }, face) {
    if (reference === null) return null;
    const name = (end) => `${onReference ? 'reference_' : ''}face_distance_${end}`;
    const [lower, upper] = await Promise.all(['lower', 'upper'].map((end) => api.readFieldAt(run, name(end), face)));
    return { lower, upper };
  }

  async function load() {
    const mine = (asked += 1);
    try {
      const [specimen, versions] = await Promise.all([api.readSpecimen(id), api.listVersions(id)]);
      if (mine !== asked) return;
      const chosen = chooseVersions(versions);
      const colour = query.colour in SUBJECTS ? query.colour : 'lost';
      const figures = await Promise.all(chosen.map((version) => makeFigure(version, colour)));
      if (mine !== asked) return;
      loader.keepOnly(figures.map(({ source }) => source));
      const fileUnit = specimen.units;
      const unit = shownUnit(query.unit, fileUnit);
      const ruler = rulerOf(fileUnit, unit, shownDecimals());
      const nameOf = (version) => {
        const found = versions.find((each) => each.id === version);
        return found ? versionName(found) : '—';
      };
      page.setTitle(say('space.pageTitle', { number: specimen.catalogue_number }));
      give(el, 'show', {
        specimen,
        versions: orderVersions(versions, 'newest').filter((version) => version.latest_run !== null),
        figures,
        figuresMost: FIGURES_MOST,
        colour,
        range: rangeOf(figures, colour, ruler.factor),
        unit: ruler.unit,
        factor: ruler.factor,
        ruler,
        query,
        nameOf,
        loader,
        distanceOf,
        lengthText: rulerOf(fileUnit, unit).length, // of the legend: as many decimals as its range needs
      });
    } catch (problem) {
      if (mine !== asked) return;
      if (!(problem instanceof api.Problem)) throw problem;
      // bytes that this page cannot read: an earlier fettle's
      give(el, 'show', { problem: problem.code === 'surface' ? new api.Problem(422, { code: 'surface', detail: say('space.unreadable') }) : problem, id });
    }
  }

  el.addEventListener('wish.query', (event) => {
    page.go({ view: 'space', id, query: { ...query, ...event.detail } }, true);
  });

  /** What the view itself shows at once: kept in the address, and with whatever is still being loaded. */
  el.addEventListener('wish.note', (event) => {
    if (id === null) return;
    query = { ...query, ...event.detail };
    history.replaceState(null, '', writeRoute({ view: 'space', id, query }));
  });

  return {
    visit(next) {
      const { view: camera, finding, ...rest } = next.query;
      const { view: oldCamera, finding: oldFinding, ...oldRest } = query;
      const other = next.id !== id;
      const moved = other || JSON.stringify(rest) !== JSON.stringify(oldRest);
      id = next.id;
      query = next.query;
      if (!moved) {
        if (finding !== oldFinding || camera !== oldCamera) give(el, 'look', { finding: finding ?? null, camera: camera ?? null });
        return undefined;
      }
      if (other) give(el, 'show', { loading: true });
      return load();
    },
    hear(name, data) {
      if (name === 'run' && data.specimen === id) load();
    },
    leave() {
      asked += 1;
      id = null;
    },
    repaint: () => give(el, 'repaint', {}),
  };
}
