// api.js - the only file that talks to the server. Every function returns the body of an answer or throws a Problem.
import { Upload } from 'tus-js-client';

const ROOT = '/api/v1';
/** Waits between attempts to go on with a file while the server does not answer; used up, it is told, and goes on by hand. */
const RETRY_MS = [500, 1000, 2000, 4000, 8000, 16000, ...Array(40).fill(30000)];

/** An answer that is not a success, as RFC 9457 has it; status 0 where no answer came. */
export class Problem extends Error {
  constructor(status, body = {}) {
    super(body.detail ?? body.title ?? `status ${status}`);
    this.status = status;
    this.code = body.code ?? (status === 0 ? 'no-answer' : `status-${status}`);
    this.format = body.format ?? null;
    this.line = body.line ?? null;
    this.byte = body.byte ?? null;
    this.hasDetail = body.detail !== undefined;
  }
}

function query(values) {
  const kept = Object.entries(values).filter(([, value]) => value !== null && value !== undefined && value !== '');
  return kept.length === 0 ? '' : `?${new URLSearchParams(kept)}`;
}

async function send(method, path, { body, bytes, headers = {}, match } = {}) {
  let answer;
  try {
    answer = await fetch(ROOT + path, {
      method,
      headers: {
        ...headers,
        ...(body === undefined ? {} : { 'Content-Type': 'application/json' }),
        ...(bytes === undefined ? {} : { 'Content-Type': 'application/octet-stream' }),
        ...(match ? { 'If-Match': match } : {}),
      },
      body: body === undefined ? bytes : JSON.stringify(body),
    });
  } catch {
    throw new Problem(0);
  }
  if (!answer.ok) throw new Problem(answer.status, await answer.json().catch(() => ({})));
  return answer;
}

const read = async (path) => (await send('GET', path)).json();
const post = async (path, body) => (await send('POST', path, { body: body ?? {} })).json();

/** A change: reads the current ETag first, so that it is made on what is there now. */
async function change(path, body) {
  const match = (await send('GET', path)).headers.get('ETag');
  return (await send('PATCH', path, { body, match })).json();
}

/** Every page of a list. */
async function readAll(path, values = {}, most = Infinity) {
  const items = [];
  let cursor = null;
  do {
    const page = await read(path + query({ limit: 500, ...values, cursor }));
    items.push(...page.items);
    cursor = page.next ?? null;
  } while (cursor !== null && items.length < most);
  return items;
}

export const listSpecimens = (values) => read(`/specimens${query(values)}`);
export const allSpecimens = () => readAll('/specimens', { sort: 'number', order: 'asc' });
export const firstSpecimens = (values, most) => readAll('/specimens', values, most);
export const readSpecimen = (id) => read(`/specimens/${id}`);
export const createSpecimen = (body) => post('/specimens', body);
export const changeSpecimen = (id, body) => change(`/specimens/${id}`, body);
export const listVersions = (specimen) => readAll(`/specimens/${specimen}/versions`);
export const readVersion = (id) => read(`/versions/${id}`);
export const changeVersion = (id, body) => change(`/versions/${id}`, body);
/** The report of an audit; `format` is 'pdf' or 'html'. */
export const reportAddress = (audit, format) => `${ROOT}/audits/${audit}/report?format=${format}`;
export const fileAddress = (version) => `${ROOT}/versions/${version}/file`;
export const thumbnailAddress = (version) => `${ROOT}/versions/${version}/thumbnail`;
export const startRun = (body) => post('/runs', body);
export const listRuns = async (version) => (await read(`/runs${query({ version })}`)).items;
export const listJobs = (values) => readAll('/jobs', values);
export const readJob = (id) => read(`/jobs/${id}`);
export const cancelJob = (id) => post(`/jobs/${id}/cancel`);
export const retryJob = (id) => post(`/jobs/${id}/retry`);
export const compareRuns = (runs, baseline) => read(`/compare${query({ runs: runs.join(','), baseline })}`);
export const readFindings = (run) => read(`/runs/${run}/findings`);

export const listSpecs = async () => (await read('/specs')).items;
export const readSpec = (id) => read(`/specs/${id}`);
export const checkSpec = (body) => post('/spec-checks', body);
export const addSpec = (body) => post('/specs', body);
export const askWhatIf = (spec, rule, limit) => read(`/specs/${spec}/what-if${query({ rule, limit })}`);
export const listAudits = (values) => readAll('/audits', values);
export const readAudit = (id) => read(`/audits/${id}`);
export const makeAudit = (run, spec) => post('/audits', { run, spec });
export const listWaivers = async (specimen) => (await read(`/specimens/${specimen}/waivers`)).items;
export const addWaiver = (specimen, body) => post(`/specimens/${specimen}/waivers`, body);
export const withdrawWaiver = (id) => post(`/waivers/${id}/withdraw`);
export const listSignOffs = (audit) => read(`/audits/${audit}/sign-offs`);
export const signOff = (audit, body) => post(`/audits/${audit}/sign-offs`, body);
export const statementAddress = (signOff) => `${ROOT}/sign-offs/${signOff}/statement`;
/** { items, next, total } of the steps of a specimen, newest first; `cursor`: the `next` of the page before. */
export const listSteps = (specimen, cursor) => read(`/specimens/${specimen}/log${query({ cursor })}`);

export const listStanding = (values) => read(`/standing${query(values)}`);
export const allStanding = (values, most) => readAll('/standing', values, most);
export const standingFile = (values) => `${ROOT}/standing${query(values)}`;
/** Audits some of the runs that are not audited by a spec: { audited, left, next, refused, ... }. @param {string|null} after */
export const auditAll = (spec, after) => post(`/specs/${spec}/audit-all`, after === null ? {} : { after });
export const listHandoffs = async (audit) => (await read(`/audits/${audit}/handoffs`)).items;
export const handOver = (audit, by) => post(`/audits/${audit}/handoffs`, { by });
export const handoffAddress = (id) => `${ROOT}/handoffs/${id}/file`;
/** Sends the zip as it is. */
export async function checkHandoff(file) {
  const answer = await send('POST', `/handoff-checks${query({ name: file.name })}`, { bytes: file });
  return answer.json();
}
export const readHandoffCheck = (id) => read(`/handoff-checks/${id}`);
/** Of the key that this service signs with; null before the first sign-off. */
export async function readKeyFingerprint() {
  try {
    return (await read('/key')).fingerprint;
  } catch (problem) {
    if (problem.status === 404) return null;
    throw problem;
  }
}

/** A run record, and the version that its Link header names. */
export async function readRun(id) {
  const answer = await send('GET', `/runs/${id}`);
  const version = /<[^>]*\/versions\/(\d+)>/.exec(answer.headers.get('Link') ?? '')?.[1] ?? null;
  return { record: await answer.json(), version };
}

/** Bytes begin..end of a version's surface (server/picture/surface.h). */
export async function readSurfaceBytes(version, begin, end) {
  const answer = await send('GET', `/versions/${version}/surface`, { headers: { Range: `bytes=${begin}-${end - 1}` } });
  return answer.arrayBuffer();
}

/** Hands over the bytes of a field of a run, one little-endian double a vertex or face of the file, as they arrive. */
export async function streamField(run, name, take) {
  const reader = (await send('GET', `/runs/${run}/fields/${name}`)).body.getReader();
  for (let part = await reader.read(); !part.done; part = await reader.read()) take(part.value);
}

/** One number of a field. */
export async function readFieldAt(run, name, index) {
  const headers = { Range: `bytes=${8 * index}-${8 * index + 7}` };
  const answer = await send('GET', `/runs/${run}/fields/${name}`, { headers });
  return new DataView(await answer.arrayBuffer()).getFloat64(0, true);
}

let measures = null;
/** The measures and their definitions, fetched once. */
export async function readMeasures() {
  measures ??= read('/measures').catch((problem) => {
    measures = null;
    throw problem;
  });
  return measures;
}

/** Versions of any specimen whose files have this SHA-256. */
export const findVersions = async (sha256) => (await read(`/versions${query({ sha256 })}`)).items;
export const readLimit = async (name) => (await read('/limits')).items.find((limit) => limit.name === name).value;

/** How much of an upload has arrived: { name, bytes, arrived, expires, version }. @param {string} address  its path */
export const readUpload = (address) => read(address.slice(ROOT.length));
export const cancelUpload = (address) =>
  send('DELETE', address.slice(ROOT.length), { headers: { 'Tus-Resumable': '1.0.0' } });

/**
 * Sends a file by tus 1.0, from where it stopped when it has an address already. While the server does not answer it is tried again.
 * @param {{ address: string|null, fields: object }} upload  fields: specimen, kind, name, ... as the upload's metadata
 * @param {object} hear  progress(bytes there), opened(address), stalled(attempt)
 * @returns {{ done: Promise<string>, pause: () => void, cancel: () => void, hurry: () => void }} done: the id of the version;
 *   hurry: do not wait for the next attempt
 */
export function sendFile(file, { address, fields }, { progress, opened, stalled }) {
  const pathOf = () => new URL(upload.url).pathname;
  let upload;
  let stop;
  const done = new Promise((resolve, reject) => {
    stop = (code) => reject(new Problem(0, { code }));
    upload = new Upload(file, {
      endpoint: new URL(`${ROOT}/uploads`, document.baseURI).href,
      uploadUrl: address && new URL(address, document.baseURI).href,
      metadata: Object.fromEntries(Object.entries(fields).filter(([, value]) => value)),
      retryDelays: RETRY_MS,
      storeFingerprintForResuming: false,
      onProgress: progress,
      onUploadUrlAvailable: () => opened(pathOf()),
      onShouldRetry(error, attempt) {
        const again = isPassing(error.originalResponse?.getStatus() ?? 0);
        if (again) stalled(attempt);
        return again;
      },
      onSuccess: ({ lastResponse }) => versionOf(lastResponse, pathOf()).then(resolve, reject),
      onError: (error) => {
        const answer = error.originalResponse;
        reject(answer ? new Problem(answer.getStatus(), parse(answer.getBody())) : new Problem(0));
      },
    });
    upload.start();
  });
  return {
    done,
    pause() {
      upload.abort();
      stop('paused');
    },
    cancel() {
      upload.abort(true).catch(() => {}); // what the server is not told of expires there
      stop('cancelled');
    },
    hurry() {
      upload.abort();
      upload.start();
    },
  };
}

/** Whether a status may be another after a while: no answer, locked, overtaken, too many, a fault but not a full disk. */
function isPassing(status) {
  return status === 0 || [409, 423, 429].includes(status) || (status >= 500 && status !== 507);
}

/** The version an upload has become: by the answer to its last bytes, or, where that was missed, by the upload itself. */
async function versionOf(answer, address) {
  const told = /\/versions\/(\d+)$/.exec(answer.getHeader('Content-Location') ?? '')?.[1];
  const version = told ?? (await readUpload(address)).version;
  if (!version) throw new Problem(0, { code: 'unfinished' });
  return version;
}

function parse(text) {
  try {
    return JSON.parse(text);
  } catch {
    return {};
  }
}

/**
 * Listens to what happens on the server while the page is in view; a page out of view holds no connection, and is told
 * to read everything anew ('reset') when it comes back.
 * @param {(name: string, data: object|null) => void} hear
 */
export function listen(hear) {
  let source = null;
  function open() {
    source = new EventSource(`${ROOT}/events`);
    for (const name of ['job', 'version', 'specimen', 'run']) {
      source.addEventListener(name, (event) => hear(name, JSON.parse(event.data)));
    }
    source.addEventListener('reset', () => hear('reset', null));
    source.addEventListener('open', () => hear('connected', null));
    source.addEventListener('error', () => hear('lost', null));
  }
  document.addEventListener('visibilitychange', () => {
    if (document.hidden) {
      source?.close();
      source = null;
    } else if (source === null) {
      open();
      hear('reset', null);
    }
  });
  open();
}
