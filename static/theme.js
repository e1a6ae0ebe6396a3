// theme.js - the reader's own choice of light or dark, set before anything is drawn. A classic script: it runs at once.
(() => {
  const theme = localStorage.getItem('fettle.theme');
  if (theme === 'light' || theme === 'dark') document.documentElement.style.setProperty('color-scheme', theme);
})();
