// audit-rules.js - what the page says of a rule of an audit: its outcome, its limit and value, its place on a small scale. Pure.
// Numbers are those that were judged, as the audit has them; nothing is rounded again.
import { say, sayOr } from './say.js';

const SIGNS = { 'at most': '≤', 'at least': '≥', below: '<', above: '>', equals: '=' };

/** @returns {{ kind: string, word: string }} the shape's name and the word beside it */
export function outcomeMark(outcome, waived = false) {
  const kind = { conforms: 'conforms', 'does not conform': 'not', undecided: 'undecided' }[outcome];
  return { kind, word: waived ? say('audit.outcome.waived', { outcome: say(`audit.outcome.${kind}`) }) : say(`audit.outcome.${kind}`) };
}

/** "1.2 mm"; a statement's true and false as words. */
function numberText(rule, value) {
  if (typeof rule.limit === 'boolean') return say(value ? 'audit.true' : 'audit.false');
  const unit = sayOr(`audit.unit.${rule.unit}`, rule.unit ?? '');
  return unit === '' ? String(value) : `${value} ${unit}`;
}

export function limitText(rule) {
  return typeof rule.limit === 'boolean' ? numberText(rule, rule.limit) : `${SIGNS[rule.relation]} ${numberText(rule, rule.limit)}`;
}

export function valueText(rule) {
  if (rule.value === null) return say('audit.notKnown');
  const { lower, upper } = rule.value;
  if (lower === upper) return numberText(rule, upper);
  return say('audit.between', { lower: lower === null ? '?' : lower, upper: upper === null ? say('audit.more') : numberText(rule, upper) });
}

export function marginText(rule) {
  if (rule.margin === null || typeof rule.limit === 'boolean' || rule.relation === 'equals') return '';
  return `${rule.margin < 0 ? '−' : '+'}${numberText(rule, Math.abs(rule.margin))}`;
}

export function uncertaintyText(rule) {
  if (rule.value === null) return '';
  const parts = [say(rule.value.sampled ? 'audit.sampled' : rule.value.lower === rule.value.upper ? 'audit.exact' : 'audit.certified')];
  if (rule.uncertainty)
    parts.push(say('audit.standard', { standard: numberText(rule, rule.uncertainty.standard), band: numberText(rule, rule.guard_band) }));
  return parts.join('; ');
}

/** What would decide a rule that is undecided; the server's own words for a reason this page does not know. */
export function decideText(rule) {
  if (rule.decided_by === null) return '';
  const { by, at, text } = rule.decided_by;
  return sayOr(`audit.decide.${by}`, text, { at: at === null ? '' : numberText({ ...rule, unit: by === 'better scanner' ? rule.unit : '' }, at) });
}

/**
 * Where limit, guard band and value lie on a scale from 0 to 1, so that the limit stands two thirds along it where that shows the
 * value; null for what has no scale: counts, statements, values that are not known.
 * @returns {{ limit: number, lower: number, upper: number, band: number, allowed: [number, number] }|null}
 */
export function gaugeOf(rule) {
  if (rule.value === null || typeof rule.limit === 'boolean' || rule.relation === 'equals' || rule.value.exact) return null;
  const { lower, upper } = rule.value;
  if (lower === null || upper === null) return null;
  const least = Math.min(0, lower, rule.limit);
  const most = Math.max(upper, rule.limit, least + 1.5 * (rule.limit - least));
  if (!(most > least)) return null;
  const at = (value) => (value - least) / (most - least);
  const below = rule.relation === 'at most' || rule.relation === 'below';
  return {
    limit: at(rule.limit),
    lower: at(lower),
    upper: at(upper),
    band: rule.guard_band / (most - least),
    allowed: below ? [0, at(rule.limit)] : [at(rule.limit), 1],
  };
}

/** The certify with which every rule that waits for a narrower interval is thought to be decided; null where none does. */
export function finerCertify(audit) {
  const wanted = audit.rules.flatMap(({ decided_by: decided }) => (decided?.by === 'narrower interval' && decided.at !== null ? [decided.at] : []));
  return wanted.length === 0 ? null : Math.min(...wanted);
}

/**
 * Whether the waivers of its spec are others by now than those that it counts, where that matters: at required rules that do not conform.
 * @param {object[]} waivers  of the specimen
 * @returns {'over'|'added'|null} that one it counts is over; else that one holds that it does not count
 */
export function waiversSince(audit, waivers) {
  const waived = new Set(waivers.filter((waiver) => waiver.spec === audit.spec.name && waiver.holds).map((waiver) => waiver.rule));
  const mattering = audit.rules.filter((rule) => rule.need === 'required' && rule.outcome !== 'conforms');
  if (mattering.some((rule) => rule.waiver !== null && !waived.has(rule.id))) return 'over';
  return mattering.some((rule) => rule.waiver === null && waived.has(rule.id)) ? 'added' : null;
}

/** How many of each outcome, as one sentence. */
export function countsText(counts) {
  const parts = ['conforms', 'does_not_conform', 'undecided', 'waived', 'advisory_missed']
    .filter((name) => counts[name] > 0)
    .map((name) => say(`audit.count.${name}`, { n: counts[name] }));
  return parts.join(', ');
}

/** The specs to choose from: the latest version of each name. */
export const latestSpecs = (specs) => specs.filter((spec) => spec.latest);

/** The newest audit of a run by a version of a spec; audits come newest first. */
export const auditOf = (audits, run, spec) => audits.find((audit) => audit.run === run && audit.spec.id === spec) ?? null;
