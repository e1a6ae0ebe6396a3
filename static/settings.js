// settings.js - what this browser remembers for its reader: name, theme, single-letter keys, unit and decimals of lengths, spec.

const NAMES = { by: '', theme: 'system', keys: 'on', unit: '', decimals: '', spec: '' };

export function readSetting(name) {
  try {
    return localStorage.getItem(`fettle.${name}`) ?? NAMES[name];
  } catch {
    return NAMES[name];
  }
}

/** The unit that lengths are shown in: that of the address, else the reader's own, else the file's; '' where the file's is not known. */
export function shownUnit(wanted, fileUnit) {
  return fileUnit === 'unknown' ? '' : wanted || readSetting('unit') || fileUnit;
}

/** How many decimals lengths, areas and volumes are shown with; null for as many as each value can tell. */
export function shownDecimals() {
  const decimals = readSetting('decimals');
  return /^[0-6]$/.test(decimals) ? Number(decimals) : null;
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
