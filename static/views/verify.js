// verify.js - a handoff dropped here is checked: check by check, what is wrong, and what measuring it again gave.
//   down: 'show', detail = { state: 'none'|'sending'|'running'|'done', name, result, ownKey, problem }; result as GET /handoff-checks/{id} has it
//   up:   'wish.check' (a File), 'wish.another'
import { entry, errorBox, h, redraw, stateMark, tell } from '../dom.js';
import { filesOfDrop, filesOfInput } from '../dropped-files.js';
import { formatBytes, formatTime } from '../format.js';
import { checkMark, handoffVerdict, measuredText, sealText } from '../handoff-check.js';
import { problemText } from '../problem.js';
import { say } from '../say.js';

/** @param {HTMLElement} el */
export function VerifyView(el) {
  let state = null;
  el.addEventListener('show', (event) => {
    state = event.detail;
    update();
  });

  function update() {
    const busy = state.state === 'sending' || state.state === 'running';
    redraw(
      el,
      h('h1', { tabindex: '-1', class: 'plain', text: say('verify.title') }),
      h('p', { text: say('verify.what') }),
      busy ? null : dropArea(),
      h('p', { class: 'verdict', role: 'status' }, busy ? stateMark('running', say(`verify.${state.state}`, { name: state.name })) : null, verdict()),
      state.problem === null ? null : problem(),
      state.result === null ? null : result(state.result),
      h('p', { class: 'caution', text: say('verify.caution') }),
    );
  }

  function problem() {
    const { what, todo } = state.problem.text ? { what: state.problem.text, todo: '' } : problemText(state.problem);
    return errorBox({ title: say('verify.failed', { name: state.name }), what, todo });
  }

  function verdict() {
    if (state.result === null) return null;
    const mark = handoffVerdict(state.result);
    return stateMark(mark.kind, mark.word);
  }

  function dropArea() {
    const input = h('input', {
      type: 'file',
      accept: '.zip,application/zip',
      hidden: true,
      on: { change: () => take(filesOfInput(input.files)) },
    });
    const area = h(
      'div',
      { class: 'drop' },
      h('p', { text: say('verify.drop') }),
      h(
        'p',
        { class: 'acts' },
        h('button', { class: state.result === null ? 'first' : null, data: { key: 'choose' }, text: say('verify.choose'), on: { click: () => input.click() } }),
      ),
      input,
    );
    area.addEventListener('dragover', (event) => {
      event.preventDefault();
      area.classList.add('over');
    });
    area.addEventListener('dragleave', () => area.classList.remove('over'));
    area.addEventListener('drop', async (event) => {
      event.preventDefault();
      area.classList.remove('over');
      take(await filesOfDrop(event.dataTransfer));
    });
    return area;
  }

  function take(found) {
    if (found[0]?.file) tell(el, 'wish.check', found[0].file);
  }

  function result({ outcome, reason, handoff, checks, measured_again: measured }) {
    if (outcome === 'refused') return h('p', { class: 'fault', text: say('verify.refused', { text: reason.text }) });
    return [
      h(
        'dl',
        { class: 'facts' },
        entry(say('verify.file'), h('span', { class: 'break', text: state.name })),
        handoff.name ? entry(say('verify.specimen'), `${handoff.catalogue_number}: ${handoff.title}`) : null,
        handoff.name ? entry(say('verify.handedOver'), say('verify.handedOver.entry', { by: handoff.by, time: Number.isNaN(Date.parse(handoff.time)) ? handoff.time : formatTime(handoff.time) })) : null,
        handoff.signers.length > 0 ? entry(say('verify.signers'), handoff.signers.join(', ')) : null,
        entry(say('verify.holds'), say('verify.holds.entry', { n: handoff.files, size: formatBytes(handoff.bytes) })),
        handoff.seal ? entry(say('verify.seal'), h('code', { class: 'break', text: handoff.seal }), h('small', { class: 'quiet', text: sealText(handoff.seal, state.ownKey) })) : null,
      ),
      h('h2', { text: say('verify.checks') }),
      h('ul', { class: 'waivers checks' }, checks.map(check)),
      measured === null ? null : again(measured),
    ];
  }

  function check(each) {
    const mark = checkMark(each.outcome);
    const more = each.problems_total - each.problems.length;
    return h(
      'li',
      {},
      stateMark(mark.kind, mark.word),
      ` ${say(`verify.check.${each.check}`)}`,
      each.reason ? h('small', { class: 'quiet', text: each.reason }) : null,
      each.problems.length > 0
        ? h('ul', {}, each.problems.map(({ path, text }) => h('li', {}, path ? h('code', { class: 'break', text: path }) : null, path ? ': ' : '', text)))
        : null,
      more > 0 ? h('p', { text: say('verify.more', { n: more }) }) : null,
    );
  }

  function again(measured) {
    return [
      h('h2', { id: 'again', text: say('verify.again') }),
      h('p', { text: measuredText(measured) }),
      measured.differences.length > 0
        ? h(
            'div',
            { class: 'scroll', role: 'region', 'aria-labelledby': 'again', tabindex: '0' },
            h(
              'table',
              { class: 'ledger' },
              h('thead', {}, h('tr', {}, ['value', 'then', 'now'].map((name) => h('th', { scope: 'col', text: say(`verify.head.${name}`) })))),
              h(
                'tbody',
                {},
                measured.differences.map((each) =>
                  h('tr', {}, h('th', { scope: 'row', class: 'break', text: each.path }), h('td', { class: 'n', text: each.then }), h('td', { class: 'n', text: each.now })),
                ),
              ),
            ),
          )
        : null,
    ];
  }
}
