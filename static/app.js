// app.js - joins the views to the address, to the server's events, and to each other. Everything of the page that is not one view's:
// the head with its search, the strip of jobs, the toast, the theme, the keys that work everywhere.
import * as api from './api.js';
import { give, h, options } from './dom.js';
import { joinAudit } from './joins/audit.js';
import { joinCollection } from './joins/collection.js';
import { joinSpace } from './joins/space.js';
import { joinSpecimen } from './joins/specimen.js';
import { joinSpecs } from './joins/specs.js';
import { joinStanding } from './joins/standing.js';
import { joinUpload } from './joins/upload.js';
import { joinVerify } from './joins/verify.js';
import { countRemembered } from './joins/upload-memory.js';
import { problemText } from './problem.js';
import { readRoute, writeRoute } from './route.js';
import { say } from './say.js';
import { readSetting, writeSetting } from './settings.js';
import { HelpView } from './views/help.js';
import { JobsStrip } from './views/jobs-strip.js';
import { Toast } from './views/toast.js';

const main = document.getElementById('main');
const strip = document.getElementById('jobs');
const toast = document.getElementById('toast');
const search = document.getElementById('search');
const jobs = new Map();
let route = null;
let lost = false;

const page = {
  /** Goes to a route; in place of the present one where it is only a change of view. */
  go(next, replace = false) {
    const address = writeRoute(next);
    if (!replace) location.hash = address;
    else {
      history.replaceState(null, '', address);
      visit();
    }
  },
  setTitle(title) {
    document.title = say('page.title', { title });
  },
  tell: (text, link = null) => give(toast, 'show', { text, link }),
  tellProblem(problem) {
    if (!(problem instanceof api.Problem)) throw problem;
    const { what, todo } = problemText(problem);
    page.tell(`${what} ${todo}`);
  },
};

/** Each view keeps its own element, so that an upload goes on while another view is looked at. */
const views = {
  collection: (el) => joinCollection(el, page),
  specimen: (el) => joinSpecimen(el, page),
  space: (el) => joinSpace(el, page),
  audit: (el) => joinAudit(el, page),
  specs: (el) => joinSpecs(el, page),
  standing: (el) => joinStanding(el, page),
  upload: (el) => joinUpload(el, page),
  verify: (el) => joinVerify(el),
  help: joinHelp,
  run: joinRun,
  nowhere: joinNowhere,
};
const joined = new Map();

function joinOf(name) {
  if (!joined.has(name)) {
    const el = h('div', { class: `view ${name}` });
    joined.set(name, { el, ...views[name](el) });
  }
  return joined.get(name);
}

/** Where each view was left, so that going back to the same address leads to the same place. */
const left = new Map();

function visit() {
  const next = readRoute(location.hash);
  const moved = route === null || next.view !== route.view || next.id !== route.id;
  if (moved && route !== null) {
    left.set(route.view, { address: writeRoute(route), top: seenTop });
    joinOf(route.view).leave?.();
  }
  const view = joinOf(next.view);
  const before = left.get(next.view);
  const back = moved && before?.address === writeRoute(next);
  route = next;
  if (moved) {
    main.replaceChildren(view.el);
    window.scrollTo(0, back ? before.top : 0);
    page.setTitle(say(`nav.${next.view}`));
  }
  if (document.activeElement !== search)
    search.value = next.view === 'collection' ? (next.query.q ?? '') : search.value;
  for (const link of document.querySelectorAll('.masthead nav a')) {
    const here =
      link.getAttribute('href') ===
      (['specimen', 'space', 'audit', 'run'].includes(next.view) ? '#/' : writeRoute({ view: next.view }));
    if (here) link.setAttribute('aria-current', 'page');
    else link.removeAttribute('aria-current');
  }
  const drawn = view.visit(next);
  if (moved) Promise.resolve(drawn).then(() => takeFocus(next, view, back));
}

/** How far the page is scrolled; kept, because the browser scrolls by itself before it tells of a new address. */
let seenTop = 0;
window.addEventListener('scroll', () => requestAnimationFrame(() => (seenTop = window.scrollY)), { passive: true });

/** After a change of view the reading begins at its heading, or where it was left; not when the page has just been opened. */
let opened = false;
function takeFocus(at, view, back) {
  if (
    opened &&
    at === route &&
    (document.activeElement === document.body || document.activeElement === null || !document.activeElement.isConnected)
  ) {
    if (!(back && view.focus?.())) {
      const heading = main.querySelector('h1');
      heading?.setAttribute('tabindex', '-1');
      heading?.focus({ preventScroll: true });
    }
  }
  opened = true;
}

function joinHelp(el) {
  HelpView(el);
  let query = {};
  const show = (rest) =>
    give(el, 'show', {
      definitions: null,
      measure: query.measure ?? null,
      keys: readSetting('keys'),
      problem: null,
      ...rest,
    });
  el.addEventListener('wish.keys', (event) => writeSetting('keys', event.detail));
  return {
    async visit(next) {
      query = next.query;
      show({});
      try {
        show({ definitions: await api.readMeasures() });
      } catch (problem) {
        show({ problem });
      }
    },
  };
}

/** The address of a run leads to its version, with that run in its column. */
function joinRun(el) {
  return {
    async visit({ id }) {
      el.replaceChildren(h('p', { class: 'quiet', text: say('loading') }));
      try {
        const version = await api.readVersion((await api.readRun(id)).version);
        page.go({ view: 'specimen', id: version.specimen, query: { run: id, version: version.id } }, true);
      } catch (problem) {
        el.replaceChildren(
          h('h1', { class: 'plain', text: say('nav.run') }),
          h('p', { text: problemText(problem).what }),
          h('p', {}, h('a', { href: '#/', text: say('specimen.back') })),
        );
      }
    },
  };
}

function joinNowhere(el) {
  return {
    visit() {
      el.replaceChildren(
        h('h1', { class: 'plain', text: say('nav.nowhere') }),
        h('p', { text: say('nowhere.what') }),
        h('p', {}, h('a', { href: '#/', text: say('specimen.back') })),
      );
    },
  };
}

function hear(name, data) {
  if (name === 'lost' || name === 'connected') {
    lost = name === 'lost';
    drawStrip();
  }
  if (name === 'reset') readJobs();
  if (name === 'job') hearJob(data);
  for (const [view, join] of joined) if (view === route.view || view === 'upload') join.hear?.(name, data);
}

function hearJob(job) {
  const before = jobs.get(job.id);
  if (job.state === 'queued' || job.state === 'running') jobs.set(job.id, job);
  else jobs.delete(job.id);
  drawStrip();
  if (before === undefined || job.state === before.state) return;
  const link = { href: `#/specimen/${job.specimen}`, text: say('toast.show') };
  const names = { number: job.catalogue_number, version: job.label };
  if (job.state === 'done') page.tell(say('toast.measured', names), link);
  if (job.state === 'failed') page.tell(say('toast.failed', names), link);
}

function drawStrip() {
  give(strip, 'show', { jobs: [...jobs.values()], lost });
}

async function readJobs() {
  try {
    const lists = await Promise.all(['running', 'queued'].map((state) => api.listJobs({ state })));
    jobs.clear();
    lists.flat().forEach((job) => jobs.set(job.id, job));
    drawStrip();
  } catch (problem) {
    page.tellProblem(problem);
  }
}

/** The fixed words of index.html. */
function fillHead() {
  for (const part of document.querySelectorAll('[data-say]')) part.textContent = say(part.dataset.say);
  for (const part of document.querySelectorAll('[data-say-label]'))
    part.setAttribute('aria-label', say(part.dataset.sayLabel));
  search.placeholder = say('search.placeholder');
  const theme = document.getElementById('theme');
  theme.append(
    ...options(
      ['system', 'light', 'dark'].map((name) => [name, say(`theme.${name}`)]),
      readSetting('theme'),
    ),
  );
  theme.addEventListener('change', () => {
    writeSetting('theme', theme.value);
    joinOf(route.view).repaint?.();
  });
}

/** In the collection each letter counts at once; from elsewhere the page goes there when the typing pauses. */
let typing = null;
search.addEventListener('input', () => {
  clearTimeout(typing);
  typing = setTimeout(find, route.view === 'collection' ? 0 : 250);
});
search.form.addEventListener('submit', (event) => {
  event.preventDefault();
  clearTimeout(typing);
  find();
});
function find() {
  const kept = route.view === 'collection' ? route.query : {};
  page.go({ view: 'collection', query: { ...kept, q: search.value.trim(), view: '' } }, route.view === 'collection');
}

document.addEventListener('keydown', (event) => {
  if (
    event.target.closest?.('input, select, textarea, dialog') ||
    event.ctrlKey ||
    event.metaKey ||
    event.altKey ||
    readSetting('keys') !== 'on'
  )
    return;
  if (event.key === '/') {
    event.preventDefault();
    search.focus();
  }
  if (event.key === '?') page.go({ view: 'help' });
});

/** Charts are drawn in the colours of the moment: again when these change, and in light ones for paper. */
const repaint = () => joinOf(route.view).repaint?.();
matchMedia('(prefers-color-scheme: dark)').addEventListener('change', repaint);
window.addEventListener('beforeprint', () => {
  document.documentElement.style.setProperty('color-scheme', 'light');
  repaint();
});
window.addEventListener('afterprint', () => {
  writeSetting('theme', readSetting('theme'));
  repaint();
});
/** A file that misses the place for it must not replace the page. */
window.addEventListener('dragover', (event) => event.preventDefault());
window.addEventListener('drop', (event) => event.preventDefault());
document.querySelector('.skip').addEventListener('click', (event) => {
  event.preventDefault();
  main.focus();
});

/** Files that were on their way when the page was left wait in the upload's list. */
async function tellRemembered() {
  const n = await countRemembered();
  if (n > 0 && route.view !== 'upload')
    page.tell(say('upload.remembered', { n }), { href: '#/upload', text: say('nav.upload') });
}

JobsStrip(strip);
Toast(toast);
fillHead();
window.addEventListener('hashchange', visit);
visit();
readJobs();
tellRemembered();
api.listen(hear);
