// cards.js - the small cards that a button opens: what a number means, and what is known of a version.
// A card is a native popover beside its button; Escape or a click elsewhere closes it, and the focus returns to the button.
import { cellSentence, certaintyOf, certifiedOf, changeText, placeOf, samplesOf, scaleOf } from '../comparison.js';
import { entry, h, shape, tell } from '../dom.js';
import { formatBytes, formatCount, formatInterval, formatTime, withUnit } from '../format.js';
import { say } from '../say.js';
import { intakeText, versionName } from '../specimen-state.js';

/** Opens a card beside its button. Returns the card, so that what comes later can be filled in. */
function openCard(button, label, ...content) {
  document.querySelector('.card')?.remove();
  const card = h(
    'div',
    { class: 'card', popover: 'auto', role: 'dialog', 'aria-label': label, tabindex: '-1' },
    h('button', { class: 'close', text: say('do.close'), on: { click: () => card.hidePopover() } }),
    content,
  );
  document.body.append(card);
  card.addEventListener('toggle', (event) => {
    if (event.newState !== 'closed') return;
    const inside = card.contains(document.activeElement) || document.activeElement === document.body;
    card.remove();
    const back = button.isConnected
      ? button
      : [...document.querySelectorAll('[data-key]')].find((part) => part.dataset.key === button.dataset.key);
    if (inside) back?.focus();
  });
  card.showPopover();
  place(card, button);
  card.querySelector('.close').focus();
  return card;
}

/** Below the button where there is room, else above it; never beyond the window. */
function place(card, button) {
  const at = button.getBoundingClientRect();
  const size = card.getBoundingClientRect();
  const left = Math.max(8, Math.min(at.right - size.width, window.innerWidth - size.width - 8));
  const below = at.bottom + 6;
  const top = below + size.height < window.innerHeight - 8 ? below : Math.max(8, at.top - size.height - 6);
  card.style.setProperty('left', `${left}px`);
  card.style.setProperty('top', `${top}px`);
}

const endsText = ({ lower, upper }, { factor, unit, decimals = null }) =>
  withUnit(formatInterval(lower * factor, upper * factor, say('interval.to'), decimals), unit);

/**
 * The card of one number.
 * @param {object} state  the state of joins/specimen.js
 * @param {Promise<object>} record  of the column's run, for the engine and the place
 */
export function openNumberCard(state, { measure: path, version, button }, record) {
  const row = state.comparison.rows.find((each) => each.measure === path);
  const column = state.columns.find((each) => each.version.id === version);
  const measure = state.measures.get(path);
  const scale = scaleOf(row, state.specimen.units, state.unit, state.decimals);
  const i = column.runIndex;
  const value = row.values[i];
  const change = changeText(row, i, state.baselineIndex, scale);
  const name = versionName(column.version);
  const more = h('dl', {});
  const exact =
    value === null
      ? null
      : [row.lower?.[i], row.upper?.[i]].every((end) => end !== null && end !== undefined) &&
          row.lower[i] !== row.upper[i]
        ? say('card.ends', { lower: String(row.lower[i]), upper: String(row.upper[i]) })
        : String(value);
  const inFile = scaleOf(row, state.specimen.units, state.specimen.units);
  const card = openCard(
    button,
    say('card.title', { name: row.name, version: name }),
    h('h3', { text: say('card.title', { name: row.name, version: name }) }),
    h('p', { class: 'big n', text: cellSentence(row, i, measure, scale) }),
    change
      ? h(
          'p',
          { class: `change ${change.verdict.replaceAll(' ', '-')}` },
          ['better', 'worse'].includes(change.verdict) ? shape(change.verdict) : null,
          say('card.change', { change: change.text, baseline: versionName(state.baseline) }),
        )
      : null,
    h('p', { text: measure?.definition ?? '' }),
    value === null ? null : h('p', { class: 'quiet', text: say(`certainty.${certaintyOf(row, i, measure)}`) }),
    more,
    h(
      'p',
      {},
      h('a', { href: `#/help?measure=${path}`, text: say('card.definition') }),
      ' ',
      h('a', { href: '#findings', text: say('card.findings'), on: { click: (event) => showFindings(event, card) } }),
    ),
  );
  const run = column.run;
  more.append(
    ...[
      exact === null ? null : entry(say('card.digits'), h('span', { class: 'break n', text: inFile.factor === 1 ? withUnit(exact, inFile.unit) : exact })),
      entry(say('card.run'), say('card.run.entry', { run: run.id, time: formatTime(run.created) })),
      entry(say('card.against'), run.against ? state.nameOf(run.against) : say('versions.alone')),
    ].filter(Boolean),
  );
  record.then(
    (body) => {
      const samples = samplesOf(body, path, measure);
      const certified = value === null ? null : certifiedOf(body, path);
      const found = value === null ? null : placeOf(body, path);
      if (certified !== null)
        more.prepend(entry(say('card.certified'), h('span', { class: 'n', text: endsText(certified, scale) })));
      if (samples !== null)
        more.append(entry(say('card.samples'), formatCount(samples)));
      if (found?.at) more.append(entry(say('card.place'), state.ruler.point(found.at)));
      if (found?.face !== undefined)
        more.append(entry(say('card.place'), say('card.face', { face: formatCount(found.face) })));
      more.append(
        entry(
          say('card.engine'),
          say('card.engine.entry', { version: body.engine.version, definitions: String(body.engine.definitions) }),
        ),
      );
      if (card.isConnected) place(card, button);
    },
    () => more.append(entry(say('card.engine'), say('card.noRecord'))),
  );
}

function showFindings(event, card) {
  event.preventDefault();
  card.hidePopover();
  const heading = document.getElementById('findings');
  heading.scrollIntoView({ block: 'start' });
  heading.focus();
}

/** The card of one version: what it is, who brought it and why, and what can be done with it. */
export function openVersionCard(el, state, { id, button }) {
  const column = state.columns.find((each) => each.version.id === id);
  const { version, run, job, share } = column;
  const act = (text, name, detail = {}) =>
    h('button', {
      text,
      on: {
        click: () => {
          card.hidePopover();
          tell(el, name, { id, ...detail });
        },
      },
    });
  const busy = job && (job.state === 'queued' || job.state === 'running');
  const card = openCard(
    button,
    versionName(version),
    h('h3', { text: versionName(version) }),
    h(
      'dl',
      {},
      entry(say('version.file'), h('span', { class: 'no break', text: version.file.name })),
      entry(say('version.size'), formatBytes(version.file.bytes)),
      version.file.format ? entry(say('version.format'), version.file.format.toUpperCase()) : null,
      entry('SHA-256', h('code', { class: 'break', text: version.file.sha256 })),
      version.face_size ? entry(say('version.faceSize'), state.ruler.faceSize(version.face_size, share)) : null,
      share ? entry(say('version.basis'), state.ruler.length(version.face_size / share, 4)) : null,
      entry(say('version.madeFrom'), version.made_from ? state.nameOf(version.made_from) : say('version.nothing')),
      entry(say('version.against'), version.against ? state.nameOf(version.against) : say('versions.alone')),
      entry(say('version.arrived'), formatTime(version.created)),
      entry(say('version.by.entry'), version.by || say('version.unknown')),
      version.note ? entry(say('version.note'), version.note) : null,
      version.intake ? entry(say('intake.entry'), intakeText(version.intake)) : null,
      version.withdrawn
        ? entry(
            say('versions.withdrawn'),
            say('version.withdrawn.entry', {
              reason: version.withdrawn.reason,
              by: version.withdrawn.by,
              time: formatTime(version.withdrawn.at),
            }),
          )
        : null,
    ),
    h(
      'p',
      { class: 'acts' },
      run && !column.isBaseline ? act(say('do.baseline'), 'wish.query', { baseline: run.id }) : null,
      run && !column.isChosen ? act(say('do.choose'), 'wish.query', { version: id }) : null,
      act(say('do.hide'), 'wish.hide'),
      h('a', { class: 'button', href: state.fileAddress(id), download: version.file.name, text: say('do.download') }),
      busy ? act(say('do.cancelJob'), 'wish.cancel', { job: job.id }) : act(say('do.measureAgain'), 'wish.again'),
      act(say('do.against'), 'wish.against'),
      act(say('do.intake'), 'wish.intake'),
      version.withdrawn ? null : act(say('do.withdraw'), 'wish.withdraw'),
    ),
  );
}
