// eslint.config.js - one question to the page's modules and the node tests: is every name known? (make eslint)
import globals from 'globals';

const names = { 'no-undef': 'error' };
const of = (files, known, ignores = []) => ({ files, ignores, languageOptions: { ecmaVersion: 2024, sourceType: 'module', globals: known }, rules: names });

export default [
  { ignores: ['static/node_modules/', 'tests/node_modules/'] },
  of(['static/**/*.js'], { ...globals.browser }, ['static/**/*-worker.js']),
  of(['static/**/*-worker.js'], { ...globals.worker }),
  of(['tests/**/*.mjs', 'tests/**/*.js'], { ...globals.node }),
  of(['tests/page/*.mjs', 'tests/bench/*.mjs'], { ...globals.node, ...globals.browser }),
];
