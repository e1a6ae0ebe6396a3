// handoff.test.mjs - what the page says of the check of a handoff, without a browser.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { checkMark, handoffVerdict, measuredText, sealText } from '../../static/handoff-check.js';
import { intakeText } from '../../static/specimen-state.js';

test('a verdict and a mark have a shape and a word for every outcome', () => {
  assert.deepEqual(handoffVerdict({ outcome: 'holds' }), { kind: 'conforms', word: 'The handoff holds' });
  assert.deepEqual(handoffVerdict({ outcome: 'does not hold' }), { kind: 'not', word: 'The handoff does not hold' });
  assert.deepEqual(handoffVerdict({ outcome: 'refused' }), { kind: 'failed', word: 'Refused' });
  assert.deepEqual(['holds', 'does not hold', 'not made'].map((outcome) => checkMark(outcome).kind), ['conforms', 'not', 'undecided']);
});

test('what changed since is said part by part, and the engines are named where they differ', () => {
  const same = { file: 'same', definition: 'same', engine: 'same', engine_then: 'a', engine_now: 'a', differences_total: 0 };
  assert.equal(measuredText(same), 'The files are the same. The definitions are the same. The engine is the same. 0 values differ.');
  assert.match(measuredText({ ...same, engine: 'changed', engine_now: 'b' }), /The engine changed\. It was a and is b\./);
  assert.match(measuredText({ ...same, file: 'changed', differences_total: 1 }), /^A file changed\. .* 1 value differs\.$/);
  assert.match(measuredText({ ...same, definition: null }), /Whether the definitions changed is not known\./);
});

test('the key of the seal is compared with the key of the service', () => {
  assert.match(sealText('ab', 'ab'), /the key of this service/);
  assert.match(sealText('ab', 'cd'), /not the key of this service/);
  assert.match(sealText('ab', null), /not the key of this service/);
});

test('how a file was made is one line of what is said', () => {
  const intake = { device: 'structured light', operator: '', date: '2026-11-02', resolution: '', uncertainty: '0.02 mm' };
  assert.equal(intakeText(intake), 'Device: structured light; Day: 2026-11-02; Standard uncertainty: 0.02 mm');
});
