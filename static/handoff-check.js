// handoff-check.js - what the check of a handoff found, as marks and sentences. Pure.
import { say } from './say.js';

/** @returns {{ kind: string, word: string }} a shape's name, and the words beside it */
export function handoffVerdict({ outcome }) {
  const kind = { holds: 'conforms', refused: 'failed' }[outcome] ?? 'not';
  return { kind, word: say(`verify.outcome.${outcome}`) };
}

export function checkMark(outcome) {
  const kind = { holds: 'conforms', 'not made': 'undecided' }[outcome] ?? 'not';
  return { kind, word: say(`verify.mark.${outcome}`) };
}

/** Whose key sealed it, as far as this service can tell. ownKey: its own fingerprint, null where it has none. */
export function sealText(seal, ownKey) {
  return say(ownKey !== null && seal === ownKey ? 'verify.seal.own' : 'verify.seal.other');
}

/** Whether the file, the definitions or the engine changed, and how many values differ. */
export function measuredText(measured) {
  const parts = ['file', 'definition', 'engine'].map((name) => say(`verify.${name}.${measured[name] ?? 'unknown'}`));
  const engine = measured.engine === 'changed' ? say('verify.engines', { then: measured.engine_then, now: measured.engine_now }) : '';
  return [...parts, engine, say('verify.differ', { n: measured.differences_total })].filter((part) => part !== '').join(' ');
}
