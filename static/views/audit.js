// audit.js - one version judged by one spec: rule by rule, what is waived, what was judged before.
//   down: 'show', detail = the state of joins/audit.js, or { problem } or { loading }
//   up:   'wish.version', 'wish.spec' (ids), 'wish.judge', 'wish.waive', 'wish.whatIf' (rules), 'wish.withdraw' (id), 'wish.finer' (certify),
//         'wish.handOver', 'wish.retry', and those of sign-off-part.js
import { choice, emptyBox, entry, errorBox, h, redraw, s, stateMark, tell, timeMark } from '../dom.js';
import { countsText, decideText, finerCertify, gaugeOf, limitText, marginText, outcomeMark, uncertaintyText, valueText, waiversSince } from '../audit-rules.js';
import { problemText } from '../problem.js';
import { writeRoute } from '../route.js';
import { say } from '../say.js';
import { versionName } from '../specimen-state.js';
import { handoffPart } from './handoff-part.js';
import { logPart, signOffPart } from './sign-off-part.js';
import { specimenTabs } from './specimen-tabs.js';

const GAUGE = { width: 128, height: 22 };

/** @param {HTMLElement} el */
export function AuditView(el) {
  let state = null;
  el.addEventListener('show', (event) => {
    state = event.detail;
    update();
  });

  function update() {
    if (state.loading) {
      redraw(el, h('h1', { class: 'hide', text: say('audit.title') }), h('p', { class: 'quiet', text: say('loading') }));
      return;
    }
    if (state.problem) {
      const { what, todo } = problemText(state.problem);
      redraw(
        el,
        errorBox({ title: say('audit.title'), what, todo }, [
          h('button', { text: say('do.again'), data: { key: 'again' }, on: { click: () => tell(el, 'wish.retry') } }),
        ]),
      );
      return;
    }
    const { specimen, version, audit } = state;
    redraw(
      el,
      specimenTabs(specimen, 'audit'),
      h('h1', { tabindex: '-1', class: 'plain', text: say('audit.heading', { number: specimen.catalogue_number }) }),
      version === null
        ? emptyBox(say('audit.nothing'), h('a', { class: 'button', href: writeRoute({ view: 'specimen', id: specimen.id }), text: say('space.back') }))
        : [controls(), audit === null ? unjudged() : judged(audit.audit), waivers(), signOffPart(el, state), handoffPart(el, state), history(), logPart(el, state)],
      h('p', { class: 'caution', text: `${say('caution')} ${say('audit.caution')}` }),
    );
  }

  function controls() {
    const { versions, version, specs, spec, audit } = state;
    return h(
      'div',
      { class: 'controls' },
      choice({
        label: say('audit.version'),
        name: 'version',
        entries: versions.map((each) => [each.id, versionName(each)]),
        chosen: version.id,
        change: (value) => tell(el, 'wish.version', value),
      }),
      choice({
        label: say('audit.spec'),
        name: 'spec',
        entries: specs.map((each) => [each.id, say('audit.specName', { name: each.name, n: String(each.version) })]),
        chosen: spec.id,
        change: (value) => tell(el, 'wish.spec', value),
      }),
      h('button', {
        class: audit === null ? 'first' : null,
        data: { key: 'judge' },
        text: say(audit === null ? 'audit.judge' : 'audit.judgeAgain'),
        on: { click: () => tell(el, 'wish.judge') },
      }),
      h('a', { href: writeRoute({ view: 'specs', query: { spec: spec.id } }), text: say('audit.readSpec') }),
    );
  }

  function unjudged() {
    return emptyBox(say('audit.unjudged', { version: versionName(state.version), spec: state.spec.name }));
  }

  function judged(audit) {
    const mark = outcomeMark(audit.outcome);
    return [
      h('p', { class: 'verdict', role: 'status' }, stateMark(mark.kind, mark.word), h('small', { text: ` ${countsText(audit.counts)}` })),
      behind(audit),
      finer(audit),
      h(
        'dl',
        { class: 'facts' },
        entry(say('audit.judged'), timeMark(state.audit.created)),
        entry(say('audit.against'), audit.run.reference ?? say('versions.alone')),
        entry(say('audit.engine'), say('audit.engineText', { version: audit.run.engine, n: String(audit.run.definitions) })),
      ),
      h('h2', { id: 'rules' }, say('audit.rules'), h('small', { text: ` ${say('audit.rulesNote')}` })),
      h(
        'div',
        { class: 'scroll', role: 'region', 'aria-labelledby': 'rules', tabindex: '0', data: { scroll: 'rules' } },
        h('table', { class: 'ledger rules' }, head(), h('tbody', {}, audit.rules.map(row))),
      ),
      h(
        'p',
        { class: 'controls' },
        h('a', { class: 'button', href: state.reportAddress(state.audit.id, 'pdf'), text: say('audit.reportPdf') }),
        h('a', { class: 'button', href: state.reportAddress(state.audit.id, 'html'), text: say('audit.reportHtml') }),
      ),
      h(
        'details',
        { data: { open: 'digests' } },
        h('summary', { text: say('audit.digests') }),
        h(
          'dl',
          { class: 'facts break' },
          entry(audit.run.subject, h('code', { text: audit.run.subject_sha256 })),
          audit.run.reference ? entry(audit.run.reference, h('code', { text: audit.run.reference_sha256 })) : null,
          entry(say('audit.record'), h('code', { text: audit.run.record_sha256 })),
          entry(say('audit.spec'), h('code', { text: audit.spec.sha256 })),
          entry(say('audit.itself'), h('code', { text: state.audit.sha256 })),
        ),
      ),
    ];
  }

  /** The audit stays as it was made; what has become of waivers since, it learns by one click. */
  function behind(audit) {
    const since = waiversSince(audit, state.waivers);
    if (since === null) return null;
    return h(
      'p',
      { class: 'acts noprint' },
      h('button', { class: 'first', data: { key: 'judge since' }, text: say('audit.since.judge'), on: { click: () => tell(el, 'wish.judge') } }),
      h('span', { class: 'quiet', role: 'status', text: say(`audit.since.${since}`) }),
    );
  }

  /** One click for what only a narrower interval keeps open. */
  function finer(audit) {
    const certify = finerCertify(audit);
    if (certify === null) return null;
    const { measuring } = state;
    return h(
      'p',
      { class: 'acts noprint' },
      h('button', {
        class: 'first',
        'aria-disabled': measuring === null ? null : 'true',
        data: { key: 'finer' },
        text: say('audit.finer.button'),
        on: { click: () => (measuring === null ? tell(el, 'wish.finer', certify) : null) },
      }),
      h('span', {
        class: 'quiet',
        role: 'status',
        text: measuring === null ? say('audit.finer.what', { certify: String(certify) }) : say('audit.finer.running', { certify: String(measuring.certify) }),
      }),
    );
  }

  function head() {
    const cell = (name, number) => h('th', { scope: 'col', class: number ? 'n' : null, text: say(`audit.head.${name}`) });
    return h(
      'thead',
      {},
      h('tr', {}, cell('rule'), cell('limit', true), cell('value', true), cell('scale'), cell('margin', true), cell('uncertainty'), cell('outcome')),
    );
  }

  function row(rule) {
    const cell = (name, number, ...children) =>
      h('td', { class: number ? 'n' : null, data: { label: say(`audit.head.${name}`) } }, ...children);
    return h(
      'tr',
      {},
      h(
        'th',
        { scope: 'row' },
        rule.name,
        rule.need === 'advisory' ? h('small', { class: 'quiet', text: ` ${say('audit.advisory')}` }) : null,
        h('span', { class: 'why', text: rule.reason }),
        h('span', { class: 'why', text: say('audit.source', { source: rule.source }) }),
      ),
      cell('limit', true, limitText(rule)),
      cell('value', true, valueText(rule)),
      cell('scale', false, gauge(rule)),
      cell('margin', true, marginText(rule)),
      cell('uncertainty', false, uncertaintyText(rule)),
      cell('outcome', false, outcome(rule)),
    );
  }

  function outcome(rule) {
    const waived = rule.waiver !== null && rule.outcome !== 'conforms';
    const mark = outcomeMark(rule.outcome, waived);
    const asks = [];
    if (rule.outcome !== 'conforms' && rule.need === 'required' && !waived) asks.push(act('waive', 'audit.waive', rule));
    if (typeof rule.limit === 'number') asks.push(act('whatIf', 'audit.whatIf', rule));
    return [
      stateMark(mark.kind, mark.word),
      waived
        ? h('small', { class: 'told', text: say('audit.waivedBy', { author: rule.waiver.author, until: rule.waiver.expires, reason: rule.waiver.reason }) })
        : null,
      rule.waiver_ran_out && rule.outcome !== 'conforms' ? h('small', { class: 'told', text: say('audit.ranOut') }) : null,
      rule.decided_by ? h('small', { class: 'told', text: decideText(rule) }) : null,
      asks.length > 0 ? h('span', { class: 'acts noprint' }, asks) : null,
    ];
  }

  function act(wish, text, rule) {
    return h('button', {
      class: 'plain',
      data: { key: `${wish} ${rule.id}` },
      'aria-label': say(`${text}.label`, { rule: rule.name }),
      text: say(`${text}.button`),
      on: { click: () => tell(el, `wish.${wish}`, rule) },
    });
  }

  function gauge(rule) {
    const at = gaugeOf(rule);
    if (at === null)
      return rule.value?.exact && typeof rule.limit === 'number' ? h('span', { class: 'quiet', text: say('audit.counted') }) : null;
    const x = (share) => 2 + share * (GAUGE.width - 4);
    const width = Math.max(2, x(at.upper) - x(at.lower));
    return s(
      'svg',
      { class: `gauge ${outcomeMark(rule.outcome).kind}`, viewBox: `0 0 ${GAUGE.width} ${GAUGE.height}`, 'aria-hidden': 'true' },
      s('rect', { class: 'allowed', x: x(at.allowed[0]), y: 9, width: x(at.allowed[1]) - x(at.allowed[0]), height: 8 }),
      at.band > 0 ? s('rect', { class: 'band', x: x(at.limit - at.band), y: 9, width: x(2 * at.band) - x(0), height: 8 }) : null,
      s('path', { class: 'ground', d: `M2 17H${GAUGE.width - 2}` }),
      s('rect', { class: 'value', x: x(at.lower), y: 6, width, height: 14 }),
      s('path', { class: 'limit', d: `M${x(at.limit)} 1V23` }),
    );
  }

  function waivers() {
    const own = state.waivers.filter((waiver) => waiver.spec === state.spec.name && waiver.withdrawn_at === null);
    if (own.length === 0) return null;
    return [
      h('h2', { text: say('audit.waivers') }),
      h(
        'ul',
        { class: 'waivers' },
        own.map((waiver) =>
          h(
            'li',
            {},
            h('span', { text: say(waiver.holds ? 'audit.waiver' : 'audit.waiverOver', { ...waiver }) }),
            ' ',
            h('button', {
              class: 'plain',
              data: { key: `withdraw ${waiver.id}` },
              text: say('audit.withdraw'),
              on: { click: () => tell(el, 'wish.withdraw', waiver.id) },
            }),
          ),
        ),
      ),
    ];
  }

  function history() {
    if (state.audits.length === 0) return null;
    return h(
      'details',
      { data: { open: 'history' } },
      h('summary', { text: say('audit.history', { n: state.audits.length }) }),
      h(
        'ul',
        { class: 'waivers' },
        state.audits.slice(0, 100).map((audit) => {
          const mark = outcomeMark(audit.outcome);
          return h(
            'li',
            {},
            timeMark(audit.created),
            ` ${audit.label}, `,
            h('a', {
              href: writeRoute({ view: 'audit', id: state.specimen.id, query: { version: audit.version, spec: audit.spec.id } }),
              text: say('audit.specName', { name: audit.spec.name, n: String(audit.spec.version) }),
            }),
            ' ',
            stateMark(mark.kind, mark.word),
          );
        }),
      ),
    );
  }
}
