// specimen.js - joins the view of one specimen to the server. Reads specimen, versions, jobs, measures, the comparison of their
// runs, and the records and findings of the chosen version; keeps the rest of the view's state in the address.
import * as api from '../api.js';
import { comparisonRows, csvText } from '../csv.js';
import { defaultBaseline, latestMeasured, orderByRow, orderVersions, runOf } from '../comparison.js';
import { give } from '../dom.js';
import { formatValue, lengthFactor, withUnit } from '../format.js';
import { readList, writeRoute } from '../route.js';
import { rulerOf } from '../ruler.js';
import { matchPlaces, placesOf } from '../same-place.js';
import { say } from '../say.js';
import { shownDecimals, shownUnit } from '../settings.js';
import { versionName } from '../specimen-state.js';
import { columnsOfOtherTolerances } from '../tolerances.js';
import { openNumberCard, openVersionCard } from '../views/cards.js';
import { askAgainst, askIntake, askWithdraw } from '../views/dialogs.js';
import { askChangeSpecimen } from '../views/new-specimen.js';
import { SpecimenView } from '../views/specimen.js';

/** How many columns are shown before the reader chooses: more stay one click away. */
const COLUMNS = 60;
/** Versions whose histograms are laid over the chosen one's. */
const OVERLAID = 3;
/** Groups that are folded until the reader opens one. */
const FOLDED = 'faces,quads,triangles,valence,size';

/** @param {HTMLElement} el @param {object} page  app.js */
export function joinSpecimen(el, page) {
  let id = null;
  let query = {};
  let read = null; // { specimen, versions, jobs, definitions } as the server has them
  let comparison = null;
  let told = { of: null, unit: null, said: null }; // the comparison in the reader's words
  let compared = ''; // the runs and the baseline that `comparison` is of
  const findings = new Map();
  let asked = 0;
  let timer = null;
  let state = null;
  const records = new Map();

  SpecimenView(el);
  const record = (run) => {
    if (!records.has(run))
      records.set(
        run,
        api.readRun(run).then((answer) => answer.record),
      );
    return records.get(run);
  };
  const findingsOf = (run) => {
    if (!findings.has(run)) findings.set(run, api.readFindings(run));
    return findings.get(run);
  };

  /** What the address asks of the versions that are there. A baseline names its version: measured again, its newest run counts. */
  function arrange() {
    const { specimen, versions } = read;
    const ordered = orderVersions(versions, query.sort);
    const hidden =
      query.hide === undefined ? ordered.slice(COLUMNS).map((version) => version.id) : readList(query.hide);
    const visible = ordered.filter((version) => !hidden.includes(version.id));
    const runs = visible.map((version) => runOf(version, query.run)).filter((run) => run !== null);
    const baseline =
      visible.find((version) => query.baseline && version.runs.includes(query.baseline)) ?? defaultBaseline(visible);
    const baselineRun = baseline && runOf(baseline, query.run);
    const latest = latestMeasured(versions);
    const chosen = versions.find((version) => version.id === query.version && version.latest_run !== null) ?? latest;
    const chosenRun = chosen ? runOf(chosen, query.run) : null;
    return {
      specimen,
      versions,
      ordered,
      hidden,
      visible,
      baseline,
      latest,
      chosen,
      runs: [...new Set([...runs, baselineRun, chosenRun])].filter((run) => run !== null && run !== undefined),
      baselineRun,
      chosenRun,
      beside: besideOf(visible, chosen, baseline),
    };
  }

  /** The versions whose histograms are laid over the chosen one's: those asked for, else the baseline; of its kind, and measured. */
  function besideOf(visible, chosen, baseline) {
    const wanted = query.beside === undefined ? [baseline?.id] : readList(query.beside);
    return visible
      .filter(
        (version) =>
          version !== chosen &&
          version.kind === chosen?.kind &&
          version.latest_run !== null &&
          wanted.includes(version.id),
      )
      .slice(0, OVERLAID);
  }

  async function load({ fresh = true } = {}) {
    const mine = (asked += 1);
    try {
      if (fresh || read === null) {
        const [specimen, versions, jobs, definitions] = await Promise.all([
          api.readSpecimen(id),
          api.listVersions(id),
          api.listJobs({ specimen: id }),
          api.readMeasures(),
        ]);
        if (mine !== asked) return;
        read = { specimen, versions, jobs, definitions };
      }
      const plan = arrange();
      const key = `${plan.runs.join()} ${plan.baselineRun}`;
      const [answer, chosen, base, places, before, beside] = await Promise.all([
        plan.runs.length === 0 ? null : key === compared ? comparison : api.compareRuns(plan.runs, plan.baselineRun),
        plan.chosenRun && record(plan.chosenRun),
        plan.baselineRun && record(plan.baselineRun),
        plan.chosenRun && findingsOf(plan.chosenRun),
        plan.baselineRun && findingsOf(plan.baselineRun),
        Promise.all(plan.beside.map((version) => record(runOf(version, query.run)))),
      ]);
      if (mine !== asked) return;
      comparison = answer;
      compared = key;
      state = draw(plan, { chosen, base, places, before, beside });
      give(el, 'show', state);
      page.setTitle(`${read.specimen.catalogue_number}, ${read.specimen.title}`);
    } catch (problem) {
      if (mine !== asked) return;
      if (!(problem instanceof api.Problem)) throw problem;
      give(el, 'show', { problem });
    }
  }

  /** The state that the view draws. */
  function draw(plan, { chosen: chosenRecord, base: baseRecord, places, before, beside }) {
    const { specimen, versions, baseline, latest, chosen } = plan;
    const fileUnit = specimen.units;
    const unit = shownUnit(query.unit, fileUnit);
    const factor = lengthFactor(fileUnit, unit);
    const nameOf = (version) => {
      const found = versions.find((each) => each.id === version);
      return found ? versionName(found) : '—';
    };
    /** The share of the reference's diagonal, where the server or the latest scan tells it. */
    const shareOf = (version) =>
      version.face_size_share ??
      (version.face_size && specimen.scan_diagonal && version.against === specimen.latest_scan
        ? version.face_size / specimen.scan_diagonal
        : null);
    const column = (version) => {
      const run = runOf(version, query.run);
      const runIndex =
        comparison === null
          ? -1
          : comparison.runs.findIndex((each) => each.id === (version === baseline ? plan.baselineRun : run));
      return {
        version,
        share: shareOf(version),
        run: runIndex < 0 ? null : comparison.runs[runIndex],
        runIndex: runIndex < 0 ? null : runIndex,
        job: read.jobs.find((job) => job.id === version.jobs[0]) ?? null,
        isBaseline: version === baseline,
        isLatest: version === latest,
        isChosen: version === chosen,
      };
    };
    const sortRow = comparison?.rows.find((row) => row.measure === query.sort);
    const unsorted = plan.visible.map(column);
    const columns = sortRow ? orderByRow(unsorted, sortRow) : unsorted;
    const chosenColumn = chosen ? (columns.find(({ version }) => version === chosen) ?? column(chosen)) : null;
    const baselineColumn = columns.find(({ isBaseline }) => isBaseline) ?? null;
    const scans = versions.filter((version) => version.kind === 'scan' && version.withdrawn === null);
    const latestScan = scans.at(-1) ?? null;
    const cages = versions.filter((version) => version.kind === 'cage' && version.withdrawn === null);
    const busy = (version) =>
      read.jobs.some((job) => job.version === version.id && (job.state === 'queued' || job.state === 'running'));
    return {
      specimen,
      versions,
      query,
      comparison: inWords(unit, factor),
      findings: places,
      since: sinceOf(),
      baseline,
      latest,
      chosen,
      chosenColumn: chosenColumn?.run ? chosenColumn : null,
      columns,
      unit,
      decimals: shownDecimals(),
      ruler: rulerOf(fileUnit, unit, shownDecimals()),
      latestScan,
      hidden: plan.hidden,
      allVersions: plan.ordered,
      hiddenColumns: plan.ordered.filter((version) => plan.hidden.includes(version.id)).map(column),
      nameOf,
      fileAddress: api.fileAddress,
      folded: readList(query.fold ?? FOLDED),
      onlyDiffers: query.only === 'differs',
      measures: measuresOf(),
      groups: read.definitions.groups,
      baselineRun: baselineColumn?.run ?? null,
      baselineIndex: baselineColumn?.runIndex ?? -1,
      trendColumns: columns
        .filter(
          ({ version, runIndex }) =>
            version.kind === (latest?.kind ?? 'cage') && version.withdrawn === null && runIndex !== null,
        )
        .sort((a, b) => a.version.number - b.version.number),
      chosenRun: plan.chosenRun,
      chosenAgainst: nameOf(chosenColumn?.run?.against ?? chosen?.against),
      chosenRecord: chosenRecord && { id: chosen.id, name: versionName(chosen), record: chosenRecord },
      otherRecords: plan.beside.map((version, i) => ({
        id: version.id,
        name: versionName(version),
        record: beside[i],
      })),
      box: chosenRecord ? chosenRecord.subject.bounds : null,
      staleCages:
        latestScan === null
          ? []
          : cages.filter(
              (cage) =>
                cage.against !== null &&
                cage.against !== latestScan.id &&
                scans.some(({ id: scan }) => scan === cage.against) &&
                !busy(cage),
            ),
      otherTolerances: columnsOfOtherTolerances(unsorted, specimen.tolerances)
        .map(({ version }) => version)
        .filter((version) => !busy(version)),
      tolerancesText:
        specimen.tolerances.length > 0
          ? withUnit(specimen.tolerances.map((length) => formatValue(length * factor)).join(', '), unit)
          : say('tolerances.now.none'),
      waiting: read.jobs.some((job) => job.state === 'queued' || job.state === 'running'),
    };

    /** A row of one tolerance is named after it, in the unit shown; the same object as long as nothing changes. */
    function inWords(shown, times) {
      if (comparison === null) return null;
      if (told.of !== comparison || told.unit !== shown) {
        const rows = comparison.rows.map((row) =>
          row.tolerance === undefined
            ? row
            : {
                ...row,
                name: say('row.within', {
                  name: row.name,
                  tolerance: withUnit(formatValue(row.tolerance * times), shown),
                }),
              },
        );
        told = { of: comparison, unit: shown, said: { ...comparison, rows } };
      }
      return told.said;
    }

    /** By the path of their rows: of a measure that has one for each tolerance, by each of them. */
    function measuresOf() {
      const found = new Map(read.definitions.measures.map((measure) => [measure.path, measure]));
      for (const { measure } of comparison?.rows ?? [])
        if (!found.has(measure)) found.set(measure, found.get(measure.replace(/@.*/, '')));
      return found;
    }

    /** The findings of the chosen version matched with the baseline's; null where the two are not measured alike. */
    function sinceOf() {
      if (!places || !before || plan.baselineRun === plan.chosenRun) return null;
      if (!chosenColumn.run?.comparable || chosenColumn.run.kind !== baselineColumn?.run?.kind) return null;
      const [older, newer] = [placesOf(baseRecord, before), placesOf(chosenRecord, places)];
      return { before: older, after: newer, match: matchPlaces(older, newer) };
    }
  }

  const go = (changes) => {
    const kept = { ...query, ...changes };
    if (changes.version) delete kept.run;
    page.go({ view: 'specimen', id, query: kept }, true);
  };
  const versionOf = (each) => read.versions.find((version) => version.id === each);

  /** Does something to the server, tells what came of it, and reads anew. */
  async function act(work, told) {
    try {
      await work();
      page.tell(told);
    } catch (problem) {
      page.tellProblem(problem);
    }
    await load();
  }

  const wishes = {
    query: go,
    row: async ({ group, measure }) => {
      query = { ...query, fold: state.folded.filter((each) => each !== group).join(',') || 'none' };
      history.replaceState(null, '', writeRoute({ view: 'specimen', id, query }));
      await load({ fresh: false });
      document.getElementById(`row-${measure}`)?.querySelector('[data-key]').focus();
    },
    over: async ({ measure }) => {
      query = { ...query, over: measure };
      history.replaceState(null, '', writeRoute({ view: 'specimen', id, query }));
      await load({ fresh: false });
      const chart = document.getElementById('over-versions');
      chart?.scrollIntoView({ block: 'center' });
      chart?.querySelector('select').focus({ preventScroll: true });
    },
    number: (wish) =>
      openNumberCard(state, wish, record(state.columns.find(({ version }) => version.id === wish.version).run.id)),
    version: (wish) => openVersionCard(el, state, wish),
    hide: ({ id: version }) => {
      const hidden = state.hidden.includes(version)
        ? state.hidden.filter((each) => each !== version)
        : [...state.hidden, version];
      go({ hide: hidden.length === 0 && read.versions.length <= COLUMNS ? '' : hidden.join(',') || '0' });
    },
    again: ({ id: version }) =>
      act(
        () => api.startRun({ version, again: true }),
        say('toast.again', { version: versionName(versionOf(version)) }),
      ),
    cancel: ({ job }) => act(() => api.cancelJob(job), say('toast.cancelled')),
    retry: ({ job }) => act(() => api.retryJob(job), say('toast.retried')),
    remeasure: () =>
      act(
        async () => {
          const cages = state.staleCages;
          for (const cage of cages) await api.changeVersion(cage.id, { against: state.latestScan.id });
        },
        say('toast.remeasure', { n: state.staleCages.length, scan: versionName(state.latestScan) }),
      ),
    tolerances: () =>
      act(
        async () => {
          for (const version of state.otherTolerances) await api.startRun({ version: version.id });
        },
        say('toast.tolerances', { n: state.otherTolerances.length }),
      ),
    withdraw: ({ id: version }) =>
      askWithdraw(versionOf(version), async (withdrawn) => {
        await api.changeVersion(version, { withdrawn });
        page.tell(say('toast.withdrawn', { version: versionName(versionOf(version)) }));
        await load();
      }),
    intake: ({ id: version }) =>
      askIntake(versionOf(version), async (intake) => {
        await api.changeVersion(version, { intake });
        page.tell(say('toast.intake', { version: versionName(versionOf(version)) }));
        await load();
      }),
    against: ({ id: version }) =>
      askAgainst(
        versionOf(version),
        read.versions
          .filter((each) => each.kind === 'scan' && each.id !== version && each.withdrawn === null)
          .reverse(),
        async (against) => {
          await api.changeVersion(version, { against });
          page.tell(say('toast.again', { version: versionName(versionOf(version)) }));
          await load();
        },
      ),
    label: () =>
      askChangeSpecimen(read.specimen, async (values) => {
        await api.changeSpecimen(id, values);
        page.tell(say('toast.label'));
        await load();
      }),
    csv: () => save(`${read.specimen.catalogue_number}.csv`, csv()),
    copyCsv: async () => page.tell(say((await copy(csv())) ? 'toast.copied' : 'toast.notCopied')),
  };
  const csv = () =>
    csvText(
      comparisonRows(
        state.comparison,
        state.columns
          .filter(({ runIndex }) => runIndex !== null)
          .map(({ version, runIndex }) => ({ label: versionName(version), runIndex })),
        {
          number: read.specimen.catalogue_number,
          units: read.specimen.units,
          baseline: state.baseline ? versionName(state.baseline) : '',
        },
      ),
    );
  for (const [name, fulfil] of Object.entries(wishes))
    el.addEventListener(`wish.${name}`, (event) => fulfil(event.detail ?? {}));

  return {
    visit(route) {
      const same = route.id === id && read !== null;
      query = route.query;
      if (same) return load({ fresh: false });
      ({ id } = route);
      read = null;
      findings.clear();
      compared = '';
      give(el, 'show', { loading: true });
      return load();
    },
    /** Progress is drawn at once; anything that changes what is stored is read anew, a moment later and once. */
    hear(name, data) {
      if (name === 'connected' || name === 'lost' || (data && !concerns(name, data))) return;
      if (name === 'job' && read !== null && state !== null) {
        read.jobs = [...read.jobs.filter((job) => job.id !== data.id), data];
      }
      timer ??= setTimeout(
        () => {
          timer = null;
          load();
        },
        name === 'job' && data.state === 'running' ? 1000 : 250,
      );
    },
    leave() {
      clearTimeout(timer);
      asked += 1;
      id = null;
    },
  };

  function concerns(name, data) {
    return name === 'specimen' ? data.id === id : data.specimen === id;
  }
}

/** Puts the text on the clipboard; false where the browser does not let us. */
async function copy(text) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return false;
  }
}

/** Hands the text to the browser as a file to save. */
function save(name, text) {
  const address = URL.createObjectURL(new Blob(['\ufeff', text], { type: 'text/csv;charset=utf-8' }));
  const link = document.createElement('a');
  link.href = address;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 1000);
}
