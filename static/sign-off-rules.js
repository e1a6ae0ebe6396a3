// sign-off-rules.js - what the page says of the sign-offs of an audit and of a step of the log. Pure.
import { say, sayOr } from './say.js';

const KINDS = { 'not signed': 'waiting', 'signed by one of two': 'undecided', 'signed off': 'conforms', broken: 'not' };

/** @returns {{ kind: string, word: string }} the shape's name and the word beside it */
export function signedMark({ state }) {
  return { kind: KINDS[state] ?? 'undecided', word: sayOr(`sign.state.${state}`, state) };
}

/** "Ines Quill (head of the laboratory)" */
export function signerText({ by, role }) {
  return role === null ? by : say('sign.signer', { by, role });
}

/** What of a sign-off is not as it was signed; '' where it holds. */
export function changedText({ changed }) {
  if (changed.length === 0) return '';
  return say('sign.changed', { parts: changed.map((part) => sayOr(`sign.part.${part}`, part)).join(', ') });
}

/** The keys that these were made with, each once: { fingerprint, ofService }. */
export function keysOf(items) {
  const keys = new Map(items.map(({ key }) => [key.fingerprint, key.of_service]));
  return [...keys].map(([fingerprint, ofService]) => ({ fingerprint, ofService }));
}

/** A step's kind and who, as one line; the server's own word for a kind this page does not know. */
export function stepText({ kind, who }) {
  const word = sayOr(`step.${kind}`, kind);
  return who === null ? word : say('step.by', { kind: word, who });
}
