// problem.js - a Problem of api.js, or the reason of a failed job, as what, where and what to do. Pure.
import { canSay, say } from './say.js';
import { formatCount } from './format.js';

/** Line or byte of a file, in words; null where neither is known, or where it is the beginning, which helps nobody. */
export function placeText({ format, line, byte }) {
  const where = line
    ? say('error.line', { line: formatCount(line) })
    : byte
      ? say('error.byte', { byte: formatCount(byte) })
      : null;
  if (where === null) return null;
  return format ? say('error.inFormat', { format: format.toUpperCase(), where }) : where;
}

/** @param {import('./api.js').Problem} problem */
export function problemText(problem) {
  const todo = canSay(`todo.${problem.code}`)
    ? say(`todo.${problem.code}`)
    : problem.status >= 500 || problem.status === 0
      ? say('todo.later')
      : say('todo.check');
  return {
    title: problem.status === 0 ? say('error.noAnswer') : say('error.refused'),
    what: problem.status === 0 ? say('error.noAnswer.what') : problem.message,
    where: placeText(problem),
    todo,
  };
}

/** @param {object} job  a failed or cancelled job */
export function reasonText(job) {
  const reason = job.reason ?? {};
  return {
    title: say('error.jobFailed', { version: job.label }),
    what: reason.text ?? say('error.unknown'),
    where: placeText(reason),
    todo: reason.do ?? (canSay(`todo.${reason.code}`) ? say(`todo.${reason.code}`) : say('todo.later')),
    kept: say('error.fileKept'),
  };
}
