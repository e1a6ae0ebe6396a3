// verify.js - joins the check of a handoff to the server: sends the zip, then asks until the outcome is there.
import * as api from '../api.js';
import { give } from '../dom.js';
import { VerifyView } from '../views/verify.js';

const ASK_MS = 500;
const NOTHING = { state: 'none', name: '', result: null, ownKey: null, problem: null };

/** @param {HTMLElement} el */
export function joinVerify(el) {
  let asked = 0;
  let state = NOTHING;
  VerifyView(el);

  function show(change) {
    state = { ...state, ...change };
    give(el, 'show', state);
  }

  async function outcomeOf(id, mine) {
    for (;;) {
      const check = await api.readHandoffCheck(id);
      if (check.state !== 'running' || mine !== asked) return check;
      await new Promise((resolve) => setTimeout(resolve, ASK_MS));
    }
  }

  async function check(file) {
    const mine = (asked += 1);
    show({ ...NOTHING, state: 'sending', name: file.name });
    try {
      const { id } = await api.checkHandoff(file);
      if (mine !== asked) return;
      show({ state: 'running' });
      const [done, ownKey] = await Promise.all([outcomeOf(id, mine), api.readKeyFingerprint()]);
      if (mine === asked) show({ state: 'done', result: done.result, problem: done.reason, ownKey });
    } catch (problem) {
      if (mine === asked) show({ state: 'none', problem });
    }
  }

  el.addEventListener('wish.check', (event) => check(event.detail));
  return {
    visit() {
      show({});
    },
  };
}
