// audit.js - joins the audit of a specimen to the server: which version, by which spec, the newest audit of the two, waivers.
import * as api from '../api.js';
import { auditOf, latestSpecs } from '../audit-rules.js';
import { latestMeasured, orderVersions } from '../comparison.js';
import { give } from '../dom.js';
import { reasonText } from '../problem.js';
import { say } from '../say.js';
import { readSetting, writeSetting } from '../settings.js';
import { versionName } from '../specimen-state.js';
import { AuditView } from '../views/audit.js';
import { askHandOver, askSignOff, askWaiver, askWhatIf } from '../views/audit-dialogs.js';

/** @param {HTMLElement} el @param {object} page  app.js */
export function joinAudit(el, page) {
  let id = null;
  let query = {};
  let asked = 0;
  let state = null;
  /** What a narrower interval is measured for: { certify, job, spec }; null: nothing. */
  let measuring = null;
  AuditView(el);

  /** What the address asks for; else the spec that the specimen, or the reader, was last judged by. */
  function choose(versions, specs, audits) {
    const measured = orderVersions(versions, 'newest').filter((version) => version.latest_run !== null);
    const version = measured.find((each) => each.id === query.version) ?? latestMeasured(versions);
    const spec =
      specs.find((each) => each.id === query.spec) ??
      specs.find((each) => each.name === audits[0]?.spec.name) ??
      specs.find((each) => each.name === readSetting('spec')) ??
      specs[0];
    return { measured, version, spec };
  }

  let loading = Promise.resolve();
  const load = () => (loading = read());

  async function read() {
    const mine = (asked += 1);
    try {
      const [specimen, versions, all, audits, waivers, steps] = await Promise.all([
        api.readSpecimen(id),
        api.listVersions(id),
        api.listSpecs(),
        api.listAudits({ specimen: id }),
        api.listWaivers(id),
        api.listSteps(id),
      ]);
      const specs = latestSpecs(all);
      const { measured, version, spec } = choose(versions, specs, audits);
      const found = version ? auditOf(audits, version.latest_run, spec.id) : null;
      const [audit, handoffs, signOffs] = found
        ? await Promise.all([api.readAudit(found.id), api.listHandoffs(found.id), api.listSignOffs(found.id)])
        : [null, [], null];
      if (mine !== asked) return;
      const addresses = { handoffAddress: api.handoffAddress, reportAddress: api.reportAddress, statementAddress: api.statementAddress };
      state = { specimen, versions: measured, version, specs, spec, audits, audit, waivers, measuring, handoffs, signOffs, steps, ...addresses, problem: null };
      page.setTitle(say('audit.pageTitle', { number: specimen.catalogue_number }));
      give(el, 'show', state);
    } catch (problem) {
      if (mine === asked) give(el, 'show', { problem });
    }
  }

  /** What is chosen now, also where that is still on its way. */
  async function judge() {
    await loading;
    if (state === null) return;
    try {
      await api.makeAudit(state.version.latest_run, state.spec.id);
      await load();
    } catch (problem) {
      page.tellProblem(problem);
    }
  }

  const showMeasuring = (now) => {
    measuring = now;
    if (state !== null) give(el, 'show', (state = { ...state, measuring }));
  };

  /** Measures the judged version as it was, with a narrower interval, and judges that run when it is there. */
  async function measureFiner(certify) {
    const { version, spec, audit } = state;
    showMeasuring({ certify, job: null, spec: spec.id });
    try {
      const { against } = (await api.listRuns(version.id)).find((run) => run.id === audit.run);
      const begun = await api.startRun({ version: version.id, against, certify });
      if (begun.state === undefined) await judgeFiner(begun.run.id);
      else {
        measuring.job = begun.id;
        await hearJob(await api.readJob(begun.id));
      }
    } catch (problem) {
      showMeasuring(null);
      page.tellProblem(problem);
    }
  }

  async function judgeFiner(run) {
    const { spec } = measuring;
    measuring = null;
    try {
      await api.makeAudit(run, spec);
    } catch (problem) {
      page.tellProblem(problem);
    }
    await load();
  }

  /** The job may end before its number is known here; it is read once more then. */
  async function hearJob(job) {
    if (job.id !== measuring?.job) return;
    if (job.state === 'done') await judgeFiner(job.run);
    else if (job.state === 'failed' || job.state === 'cancelled') {
      showMeasuring(null);
      const { title, what } = reasonText(job);
      page.tell(`${title}: ${what}`);
    }
  }

  const goTo = (change) => page.go({ view: 'audit', id, query: { ...query, ...change } }, true);
  el.addEventListener('wish.version', (event) => goTo({ version: event.detail }));
  el.addEventListener('wish.spec', (event) => {
    writeSetting('spec', state.specs.find((spec) => spec.id === event.detail).name);
    goTo({ spec: event.detail });
  });
  el.addEventListener('wish.judge', judge);
  el.addEventListener('wish.retry', load);
  el.addEventListener('wish.finer', (event) => measureFiner(event.detail));
  // what is asked for in a dialog is of what was shown when it opened: the page may be drawn anew under it
  el.addEventListener('wish.waive', (event) => {
    const { spec } = state;
    askWaiver(event.detail, async (values) => {
      await api.addWaiver(id, { spec: spec.name, rule: event.detail.id, ...values });
      await judge();
    });
  });
  el.addEventListener('wish.withdraw', async (event) => {
    try {
      await api.withdrawWaiver(event.detail);
      await judge();
    } catch (problem) {
      page.tellProblem(problem);
    }
  });
  el.addEventListener('wish.handOver', () => {
    const { audit } = state;
    askHandOver(async ({ by }) => {
      await api.handOver(audit.id, by);
      await load();
    });
  });
  el.addEventListener('wish.signOff', () => {
    const { audit, version, spec } = state;
    askSignOff({ version: versionName(version), spec: spec.name }, async (values) => {
      await api.signOff(audit.id, values);
      await load();
    });
  });
  el.addEventListener('wish.earlier', async () => {
    try {
      const { items, next, total } = await api.listSteps(id, state.steps.next);
      state = { ...state, steps: { items: [...state.steps.items, ...items], next, total } };
      give(el, 'show', state);
    } catch (problem) {
      page.tellProblem(problem);
    }
  });
  el.addEventListener('wish.whatIf', (event) => {
    const { spec } = state;
    askWhatIf(event.detail, (limit) => api.askWhatIf(spec.id, event.detail.id, limit));
  });

  return {
    visit(next) {
      if (next.id !== id) {
        state = measuring = null;
        give(el, 'show', { loading: true });
      }
      ({ id, query } = next);
      return load();
    },
    hear(name, data) {
      if (name === 'job') hearJob(data);
      else if (name === 'reset' && measuring?.job) api.readJob(measuring.job).then(hearJob, page.tellProblem);
      else if (name === 'reset' || (name === 'run' && data.specimen === id && measuring === null)) load();
    },
  };
}
