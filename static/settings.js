// settings.js - what this browser remembers for its reader: name, theme, single-letter keys.

const NAMES = { by: '', theme: 'system', keys: 'on' };

export function readSetting(name) {
  try {
    return localStorage.getItem(`fettle.${name}`) ?? NAMES[name];
  } catch {
    return NAMES[name];
  }
}

export function writeSetting(name, value) {
  try {
    localStorage.setItem(`fettle.${name}`, value);
  } catch {
    // A browser that keeps nothing still works; it only forgets.
  }
  if (name === 'theme') applyTheme(value);
}

function applyTheme(theme) {
  if (theme === 'system') document.documentElement.style.removeProperty('color-scheme');
  else document.documentElement.style.setProperty('color-scheme', theme);
}
