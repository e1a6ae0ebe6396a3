// say.js - finds a sentence in the catalogue and fills it. Pure.
//   say('key', { name: 'x' })      a sentence with {name} filled in
//   say('key', { n: 3 })           the plural form for n, by Intl.PluralRules; {n} is printed as a count
//   sayWith('key', { link: node }) the same as a list of strings and nodes, for sentences that hold a link
//   sayList(['a', 'b'])            a list in words
import { LANGUAGE, TEXT } from './text.js';
import { formatCount } from './format.js';

const plurals = new Intl.PluralRules(LANGUAGE);
const lists = new Intl.ListFormat(LANGUAGE, { type: 'unit', style: 'short' });

function pattern(key, slots) {
  const entry = TEXT[key];
  if (entry === undefined) throw new Error(`no text for ${key}`);
  return typeof entry === 'string' ? entry : (entry[plurals.select(slots.n)] ?? entry.other);
}

/** Whether the catalogue has a text for the key. */
export function canSay(key) {
  return TEXT[key] !== undefined;
}

/** The text for the key, or the server's own word where a newer server has one that the catalogue does not. */
export function sayOr(key, word, slots = {}) {
  return canSay(key) ? say(key, slots) : word;
}

/** The pieces of a sentence: strings, and whatever the slots hold. */
export function sayWith(key, slots = {}) {
  return pattern(key, slots)
    .split(/(\{\w+\})/)
    .filter((piece) => piece !== '')
    .map((piece) => {
      const name = /^\{(\w+)\}$/.exec(piece)?.[1];
      if (name === undefined) return piece;
      if (slots[name] === undefined) throw new Error(`no ${name} for ${key}`);
      return name === 'n' ? formatCount(slots.n) : slots[name];
    });
}

export function say(key, slots = {}) {
  return sayWith(key, slots).join('');
}

export function sayList(items) {
  return lists.format(items);
}
