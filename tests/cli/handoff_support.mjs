// handoff_support.mjs - a signed audit of two boxes in a data folder of its own, and handoffs of it.
import assert from 'node:assert/strict';
import { execFileSync, spawnSync } from 'node:child_process';
import { cpSync, readdirSync, readFileSync, statSync } from 'node:fs';
import path from 'node:path';
import { box, call, FETTLE, makeSpecimen, upload, waitForVersion } from '../api/support.mjs';

export const SIGNERS = ['Ada Example', 'Ben Example'];

const rule = (id, more) => ({ id, reason: 'because', source: 'common practice, no source', ...more });

/** A cage of side 0.9 against a box of side 1, judged by a spec that wants two signatures. { specimen, scan, cage, audit } */
export async function makeAudit(server, { limit = 0.2, signatures = 2 } = {}) {
  const specimen = await makeSpecimen(server);
  const put = async (bytes, values) => waitForVersion(server, (await upload(server, specimen.id, bytes, values)).body.id);
  const scan = await put(box({ triangles: true }), { name: '.. Schädel %0A.obj' });
  const cage = await put(box({ size: 0.9 }), { kind: 'cage', name: 'cage.obj', made_from: scan.id });
  const spec = await call(server, 'POST', '/api/v1/specs', {
    json: {
      schema: 'fettle/spec/1',
      name: `Close ${specimen.id}`,
      purpose: 'to be near its scan',
      signatures,
      rules: [rule('near', { measure: 'deviation.hausdorff', relation: 'at most', limit, unit: 'mm' })],
    },
  });
  const audit = await call(server, 'POST', '/api/v1/audits', { json: { run: cage.runs[0], spec: spec.body.id } });
  assert.equal(audit.status, 201, audit.text);
  return { specimen, scan, cage, spec: spec.body, audit: audit.body };
}

export async function signOff(server, audit, by) {
  const { status, text } = await call(server, 'POST', `/api/v1/audits/${audit}/sign-offs`, { json: { by } });
  assert.equal(status, 201, text);
}

/** { status, stdout, stderr } as text. */
export function fettle(...args) {
  const { status, stdout, stderr, error } = spawnSync(FETTLE, args, { encoding: 'utf8', maxBuffer: 1 << 28 });
  if (error) throw error;
  return { status, stdout, stderr };
}

export function handOver(server, audit, out) {
  execFileSync(FETTLE, ['handoff', '--audit', audit, '--data', server.data, '--by', 'Cleo Example', '--out', out]);
  return out;
}

/** Every file below a folder, as paths parted by '/'. */
export function filesOf(folder) {
  return readdirSync(folder, { recursive: true })
    .map(String)
    .filter((name) => statSync(path.join(folder, name)).isFile())
    .sort();
}

/** A copy of a handoff that is a folder, changed by `change(folder)`. */
export function copyOf(folder, to, change) {
  cpSync(folder, to, { recursive: true, preserveTimestamps: true });
  change?.(to);
  return to;
}

/** The files of a folder as entries for zip_parts.mjs. */
export function entriesOf(folder, name = 'bag') {
  return filesOf(folder).map((file) => ({ name: `${name}/${file}`, bytes: readFileSync(path.join(folder, file)) }));
}
