// document.test.mjs - schema/openapi.json: valid, equal to the routes, and served.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { test } from 'node:test';
import { Validator } from '@seriousme/openapi-schema-validator';
import { call, FETTLE, OPENAPI, startServer } from './support.mjs';

test('the document is valid OpenAPI 3.1', async () => {
  const result = await new Validator().validate(structuredClone(OPENAPI));
  assert.ok(result.valid, JSON.stringify(result.errors));
  assert.equal(OPENAPI.openapi, '3.1.0');
});

const resolve = (parameter) => (parameter.$ref ? OPENAPI.components.parameters[parameter.$ref.split('/').at(-1)] : parameter);

test('routes and document are equal, parameters included', () => {
  const routes = execFileSync(FETTLE, ['serve', '--routes'], { encoding: 'utf8' })
    .trim()
    .split('\n')
    .map((line) => {
      const [method, pattern, ...query] = line.split(' ');
      return `${method} ${pattern} ${query.sort().join(' ')}`;
    });
  const documented = Object.entries(OPENAPI.paths).flatMap(([pattern, operations]) =>
    Object.entries(operations).map(([method, operation]) => {
      const parameters = (operation.parameters ?? []).map(resolve);
      const inPath = parameters.filter((p) => p.in === 'path').map((p) => `{${p.name}}`);
      assert.deepEqual(inPath, pattern.match(/\{[a-z]+\}/g) ?? [], pattern);
      const query = parameters.filter((p) => p.in === 'query').map((p) => p.name);
      return `${method.toUpperCase()} ${pattern} ${query.sort().join(' ')}`;
    }));
  assert.deepEqual(documented.sort(), routes.sort());
});

test('every operation has a name of its own and tells of problems', () => {
  const names = new Set();
  for (const [pattern, operations] of Object.entries(OPENAPI.paths))
    for (const [method, operation] of Object.entries(operations)) {
      assert.ok(!names.has(operation.operationId), operation.operationId);
      names.add(operation.operationId);
      assert.ok(operation.responses['400'], `${method} ${pattern}`);
      assert.equal(Boolean(operation.responses['403']), !['get', 'head'].includes(method), `${method} ${pattern}`);
      const names_its_state = (operation.parameters ?? []).some((parameter) => resolve(parameter).name === 'If-Match');
      assert.equal(Boolean(operation.responses['428']), names_its_state, `${method} ${pattern}`);
    }
});

test('the service serves the document, the measures and the limits', async (t) => {
  const server = await startServer(t);
  assert.deepEqual((await call(server, 'GET', '/api/v1/openapi.json')).body, OPENAPI);
  const measures = (await call(server, 'GET', '/api/v1/measures')).body;
  assert.ok(measures.measures.some((measure) => measure.path === 'subject.topology.open_edges'));
  const limits = (await call(server, 'GET', '/api/v1/limits')).body.items;
  const value = (name) => limits.find((limit) => limit.name === name).value;
  assert.equal(value('json_bytes'), 1 << 20);
  assert.equal(value('page_size'), 500);
  assert.ok(value('disk_keep_bytes') >= 2 * 2 ** 30);
});

test('health and figures answer at both addresses', async (t) => {
  const server = await startServer(t);
  for (const prefix of ['', '/api/v1']) {
    const health = await call(server, 'GET', `${prefix}/healthz`);
    assert.equal(health.status, 200);
    assert.match(health.body.status, /^(ok|checking)$/);
    const figures = (await call(server, 'GET', `${prefix}/metrics`)).text;
    for (const line of figures.trim().split('\n'))
      assert.match(line, /^(# (HELP|TYPE) fettle_\w+ .+|fettle_\w+(\{\w+="[^"]*"(,\w+="[^"]*")*\})? -?\d+)$/);
    assert.match(figures, /^fettle_specimens 0$/m);
  }
});
