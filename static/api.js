// api.js - the only file that talks to the server. Every function returns the body of an answer or throws a Problem.

const ROOT = '/api/v1';

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

async function send(method, path, { body, headers = {}, match } = {}) {
  let answer;
  try {
    answer = await fetch(ROOT + path, {
      method,
      headers: {
        ...headers,
        ...(body === undefined ? {} : { 'Content-Type': 'application/json' }),
        ...(match ? { 'If-Match': match } : {}),
      },
      body: body === undefined ? undefined : JSON.stringify(body),
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
async function readAll(path, values = {}) {
  const items = [];
  let cursor = null;
  do {
    const page = await read(path + query({ limit: 500, ...values, cursor }));
    items.push(...page.items);
    cursor = page.next ?? null;
  } while (cursor !== null);
  return items;
}

export const listSpecimens = (values) => read(`/specimens${query(values)}`);
export const allSpecimens = () => readAll('/specimens', { sort: 'number', order: 'asc' });
export const readSpecimen = (id) => read(`/specimens/${id}`);
export const createSpecimen = (body) => post('/specimens', body);
export const changeSpecimen = (id, body) => change(`/specimens/${id}`, body);
export const listVersions = (specimen) => readAll(`/specimens/${specimen}/versions`);
export const readVersion = (id) => read(`/versions/${id}`);
export const changeVersion = (id, body) => change(`/versions/${id}`, body);
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

/**
 * Sends a file as the raw body of a new version. fetch cannot tell how much of a body has left, so this is XMLHttpRequest.
 * @param {(sent: number) => void} progress  bytes sent so far
 * @returns {{ done: Promise<{ version: object, isNew: boolean }>, cancel: () => void }}
 */
export function sendFile(specimen, values, file, progress) {
  const request = new XMLHttpRequest();
  const done = new Promise((resolve, reject) => {
    request.upload.addEventListener('progress', (event) => progress(event.loaded));
    request.addEventListener('load', () => {
      const body = parse(request.responseText);
      if (request.status === 200 || request.status === 201) resolve({ version: body, isNew: request.status === 201 });
      else reject(new Problem(request.status, body));
    });
    request.addEventListener('error', () => reject(new Problem(0)));
    request.addEventListener('abort', () => reject(new Problem(0, { code: 'cancelled' })));
    request.open('POST', `${ROOT}/specimens/${specimen}/versions${query(values)}`);
    request.setRequestHeader('Content-Type', 'application/octet-stream');
    request.send(file);
  });
  return { done, cancel: () => request.abort() };
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
