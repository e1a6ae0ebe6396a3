// specimen-state.js - the one state a specimen is shown with: what its jobs do, else what was set by hand. Pure.
import { say } from './say.js';

/** @returns {{ kind: string, text: string }} the shape's name, and the words beside it */
export function specimenState(specimen) {
  const { running, queued, failed } = specimen.jobs;
  if (running > 0) return { kind: 'running', text: say('state.running', { n: running }) };
  if (queued > 0) return { kind: 'waiting', text: say('state.waiting', { n: queued }) };
  const latest = specimen.trend.filter((point) => !point.withdrawn).at(-1);
  const unmeasured = latest !== undefined && latest.run === null;
  if (failed > 0 && unmeasured) return { kind: 'failed', text: say('state.failed', { version: versionName(latest) }) };
  const kind =
    { new: 'new', 'in work': 'work', ready: 'ready', retired: 'retired', 'handed over': 'conforms' }[specimen.state] ??
    'new';
  const faults = latest?.faults ?? null;
  const word = say(`state.${specimen.state}`);
  return {
    kind,
    text:
      faults === null || specimen.state === 'retired'
        ? word
        : say('state.withFaults', { state: word, faults: say('count.faults', { n: faults }) }),
  };
}

/** What is stated of how a file was made, in one line. */
export function intakeText(intake) {
  return ['device', 'operator', 'date', 'resolution', 'uncertainty']
    .filter((name) => intake[name] !== '')
    .map((name) => say('intake.part', { name: say(`intake.${name}`), value: intake[name] }))
    .join('; ');
}

export function versionName(version) {
  return say(`version.${version.kind}`, { number: version.number });
}
