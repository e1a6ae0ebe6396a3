// spec-form.js - a spec as the form of it changes: what a rule may be about, the same document with one thing changed, where a
// fault that the service names belongs. Pure. What is valid, the service alone decides; keys that the form does not show are kept.
import { say } from './say.js';

export const RELATIONS = ['at most', 'at least', 'below', 'above', 'equals'];
export const LENGTHS = ['mm', 'cm', 'm', 'in', 'diagonal'];
export const SEVERITIES = ['any', 'fault', 'warning', 'note'];
export const MESHES = ['both', 'subject', 'reference'];
export const TAKES = ['count', 'largest size', 'faces'];
export const KINDS = [
  'nonmanifold_edge',
  'flipped_faces',
  'duplicate_faces',
  'degenerate_faces',
  'open_loop',
  'nonmanifold_vertex',
  'stray_shell',
  'lost',
  'invented',
];
const STATEMENTS = ['closed', 'oriented', 'manifold', 'closed_manifold'];
const OF_LENGTH = new Set(['length', 'area', 'volume']);
const FINDINGS = 'findings';

/** An empty spec to begin with. */
export const newSpec = () => ({ schema: 'fettle/spec/1', name: '', purpose: '', for: ['scan', 'cage'], rules: [] });

/**
 * Everything a rule may be about: { value, name, group, of, unit, definition }. `value` is a place in the run record, or "findings";
 * `unit` as in the list of measures, "statement" for what is true or false, "count" for findings.
 * @param {object} list  GET /measures
 */
export function subjectsOfRules({ groups, measures }) {
  const titles = new Map(groups.map((group) => [group.id, group.title]));
  const own = [
    { value: FINDINGS, name: say('specs.about.findings'), group: say('specs.about.findingsGroup'), of: '', unit: 'count', definition: say('specs.about.findingsWhat') },
    ...STATEMENTS.map((word) => ({
      value: `subject.topology.${word}`,
      name: say(`specs.about.${word}`),
      group: titles.get('topology'),
      of: '',
      unit: 'statement',
      definition: say(`specs.about.${word}What`),
    })),
    ...measures
      .filter((measure) => measure.per === undefined)
      .map((measure) => ({
        value: measure.lower && measure.upper ? measure.path.replace(/\.upper$/, '') : measure.path,
        name: measure.name,
        group: titles.get(measure.group),
        of: '',
        unit: measure.unit,
        definition: measure.definition,
      })),
  ];
  const twins = own
    .filter(({ value }) => value.startsWith('subject.'))
    .map((each) => ({ ...each, value: each.value.replace('subject.', 'reference.'), of: say('specs.about.ofReference') }));
  return [...own, ...twins];
}

/** The subjects that have every word of what was typed, in name, group, place or definition; those with them in the name first. */
export function findSubjects(subjects, typed) {
  const words = typed.toLowerCase().split(/\s+/).filter((word) => word !== '');
  const has = (text) => words.every((word) => text.includes(word));
  const named = [];
  const others = [];
  for (const each of subjects) {
    const name = `${each.name} ${each.of}`.toLowerCase();
    if (has(name)) named.push(each);
    else if (has(`${name} ${each.group} ${each.value} ${each.definition}`.toLowerCase())) others.push(each);
  }
  return [...named, ...others];
}

export const subjectValue = (rule) => (rule.findings === undefined ? (rule.measure ?? '') : FINDINGS);

/** What the rule is about, as far as it is known. */
export const subjectOf = (subjects, rule) => subjects.find(({ value }) => value === subjectValue(rule)) ?? null;

export const subjectName = (subject) => (subject.of === '' ? subject.name : `${subject.name} ${subject.of}`);

/** Units for a limit of that: [] where it has none to choose. */
export function unitsFor(subject, rule) {
  if (rule.findings) return rule.findings.take === 'largest size' ? LENGTHS : [];
  return OF_LENGTH.has(subject?.unit) ? LENGTHS : [];
}

/** The object without the keys whose values are undefined. */
const trimmed = (object) => Object.fromEntries(Object.entries(object).filter(([, value]) => value !== undefined));

export const withKeys = (object, change) => trimmed({ ...object, ...change });

/** A number where it is one; else what was typed, for the service to object to. A comma is taken for a point. */
export function numberTyped(text) {
  const value = text.trim().replace(',', '.');
  return value !== '' && Number.isFinite(Number(value)) ? Number(value) : value === '' ? undefined : text;
}

const idOf = (rules, word) => {
  const stem = word.toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/^-|-$/g, '').slice(0, 24) || 'rule';
  const taken = new Set(rules.map((rule) => rule.id));
  let id = stem;
  for (let n = 2; taken.has(id); n += 1) id = `${stem}-${n}`;
  return id;
};

/** The rule about something else: relation, limit and unit become what that can have; the rest is kept. */
export function aboutAnother(rule, subject) {
  const statement = subject.unit === 'statement';
  const lengthy = OF_LENGTH.has(subject.unit);
  const limit = statement ? true : typeof rule.limit === 'number' ? rule.limit : subject.unit === 'count' ? 0 : undefined;
  return withKeys(rule, {
    measure: subject.value === FINDINGS ? undefined : subject.value,
    findings: subject.value === FINDINGS ? (rule.findings ?? { severity: 'fault', take: 'count' }) : undefined,
    relation: statement ? 'equals' : rule.relation === 'equals' && typeof rule.limit === 'boolean' ? 'at most' : rule.relation,
    limit,
    unit: lengthy ? (LENGTHS.includes(rule.unit) ? rule.unit : 'mm') : undefined,
    decision: statement ? undefined : rule.decision,
    guard_factor: statement ? undefined : rule.guard_factor,
  });
}

/** What is taken of the findings changes with it the unit of the limit. */
export function withFindings(rule, change) {
  const findings = withKeys(rule.findings, change);
  const unit = findings.take === 'largest size' ? (LENGTHS.includes(rule.unit) ? rule.unit : 'mm') : undefined;
  return withKeys(rule, { findings, unit });
}

/** Simple acceptance, or a guard band; the uncertainty stays either way. */
export const decidedBy = (rule, decision) =>
  withKeys(rule, decision === 'guarded' ? { decision } : { decision: undefined, guard_factor: undefined });

/** One entry of an uncertainty; without number and source none is stated. @param {string} unit  where none was chosen */
export function withUncertainty(owner, change, unit) {
  const next = withKeys({ unit, ...owner.uncertainty }, change);
  return withKeys(owner, { uncertainty: next.standard === undefined && next.source === undefined ? undefined : next });
}

/** Units for the uncertainty of a limit. */
export function uncertaintyUnits(subject, rule) {
  if (unitsFor(subject, rule).length === 0) return [rule.findings ? 'count' : (subject?.unit ?? 'ratio')];
  return rule.unit === 'diagonal' ? ['diagonal'] : LENGTHS.filter((unit) => unit !== 'diagonal');
}

export function addRule(spec, subject) {
  const rules = spec.rules ?? [];
  const bare = { id: idOf(rules, subject.name), measure: '', relation: 'at most', need: 'required', reason: '', source: '' };
  return { ...spec, rules: [...rules, aboutAnother(bare, subject)] };
}

export const changeRule = (spec, at, rule) => ({ ...spec, rules: spec.rules.map((each, i) => (i === at ? rule : each)) });

/** A list without one item, or with it moved by one; the same list where it cannot. */
export const without = (list, at) => list.filter((_, i) => i !== at);
export function moved(list, at, by) {
  const to = at + by;
  if (to < 0 || to >= list.length) return list;
  const rest = without(list, at);
  return [...rest.slice(0, to), list[at], ...rest.slice(to)];
}

/** @returns {{ spec: object }|{ fault: string }} what the form can show of a text: an object with a list of objects as rules */
export function readText(text) {
  let spec;
  try {
    spec = JSON.parse(text);
  } catch (error) {
    return { fault: say('specs.notJson', { what: error.message }) };
  }
  const isObject = (value) => value !== null && typeof value === 'object' && !Array.isArray(value);
  const shows = isObject(spec) && Array.isArray(spec.rules ?? []) && (spec.rules ?? []).every((rule) => isObject(rule) && isObject(rule.findings ?? {}) && isObject(rule.uncertainty ?? {}));
  return shows && isObject(spec.uncertainty ?? {}) ? { spec: { ...spec, rules: spec.rules ?? [] } } : { fault: say('specs.notForm') };
}

export const writeText = (spec) => JSON.stringify(spec, null, 2);

const FIELDS = {
  kinds: 'kinds',
  severity: 'severity',
  mesh: 'mesh',
  take: 'take',
  standard: 'standard',
  measure: 'measure',
  findings: 'measure',
  'largest size': 'take',
  guarded: 'standard',
  guard_factor: 'guard_factor',
  unit: 'unit',
  limit: 'limit',
  relation: 'relation',
};

/**
 * Where a fault belongs: the rule (from 0; null: the spec itself) and the field of the form, null where it names none.
 * @param {object} spec  what it was said of @param {string} text  the service's sentence: `rule 3 (closed): "limit" has at most six digits ...`
 */
export function faultPlace(text, spec) {
  const [, number, rest] = /^(?:rule (\d+)(?: \(.*?\))?: )?(.*)$/s.exec(text);
  const rule = number === undefined ? null : Number(number) - 1;
  if (rest.includes('uncertainty') && rest.startsWith('"unit"')) return { rule, field: 'uncertainty unit' };
  if (rest.startsWith('the uncertainty is in')) return { rule, field: 'uncertainty unit' };
  if (rest.includes('has that id too')) return { rule, field: 'id' };
  if (/^no (measure|kind)/.test(rest)) return { rule, field: rest.startsWith('no kind') ? 'kinds' : 'measure' };
  if (rest.includes('"decision" is') || rest.startsWith('what has to equal')) return { rule, field: 'decision' };
  if (rest.startsWith('the decision "guarded" needs')) return { rule, field: 'standard' };
  const word = /"([^"]+)"/.exec(rest)?.[1] ?? '';
  const owner = rule === null ? spec : spec.rules[rule];
  if (word === 'source' && (rule === null || (owner?.uncertainty && !owner.uncertainty.source))) return { rule, field: 'uncertainty source' };
  return { rule, field: FIELDS[word] ?? (/^[a-z_]+$/.test(word) ? word : null) };
}
