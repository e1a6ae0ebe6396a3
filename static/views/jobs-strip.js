// jobs-strip.js - what is being measured now, under the head of every page: at most two lines, then how many more.
//   down: 'show', detail = { jobs: queued and running ones, lost: whether the server has gone silent }
import { h, redraw, stateMark } from '../dom.js';
import { formatProgress } from '../format.js';
import { say, sayOr } from '../say.js';

const LINES = 2;

/** @param {HTMLElement} el */
export function JobsStrip(el) {
  el.addEventListener('show', (event) => update(event.detail));

  function update({ jobs, lost }) {
    const sorted = [...jobs].sort(
      (a, b) =>
        (a.state === 'running' ? 0 : 1) - (b.state === 'running' ? 0 : 1) ||
        (a.position ?? 0) - (b.position ?? 0) ||
        Number(a.id) - Number(b.id),
    );
    const more = sorted.length - LINES;
    redraw(
      el,
      lost ? h('p', { class: 'silent' }, stateMark('undecided', say('live.lost'))) : null,
      sorted.length === 0
        ? null
        : h(
            'ul',
            { class: 'jobs' },
            sorted.slice(0, LINES).map(line),
            more > 0 ? h('li', { class: 'quiet', text: say('jobs.more', { n: more }) }) : null,
          ),
    );
  }

  function line(job) {
    const running = job.state === 'running';
    const name = h('a', {
      href: `#/specimen/${job.specimen}`,
      data: { key: `job ${job.id}` },
      text: say('jobs.name', { number: job.catalogue_number, version: job.label }),
    });
    return h(
      'li',
      {},
      stateMark(running ? 'running' : 'waiting', say(running ? 'job.measuring.short' : 'job.waiting')),
      h(
        'span',
        { class: 'what' },
        name,
        running && job.stage ? `: ${sayOr(`stage.${job.stage}`, job.stage)}` : '',
        running
          ? h('progress', { value: job.progress, max: 1, 'aria-label': say('job.bar', { version: job.label }) })
          : null,
      ),
      h('span', {
        class: 'n',
        text: running
          ? formatProgress(job.progress)
          : job.position
            ? say('job.position.short', { n: job.position })
            : '',
      }),
    );
  }
}
