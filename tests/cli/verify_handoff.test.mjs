// verify_handoff.test.mjs - fettle handoff and fettle verify-handoff: what they make passes the checks of others, every change of it is
// found and named, every rule of RFC 8493 is looked at, and hostile bags are refused before anything of them is used.
import assert from 'node:assert/strict';
import { execFileSync, spawnSync } from 'node:child_process';
import { createHash, createPublicKey, generateKeyPairSync, sign, verify } from 'node:crypto';
import { existsSync, linkSync, mkdirSync, readdirSync, readFileSync, renameSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import { startServer, temporaryFolder } from '../api/support.mjs';
import { copyOf, entriesOf, fettle, filesOf, handOver, makeAudit, signOff, SIGNERS } from './handoff_support.mjs';
import { zip } from './zip_parts.mjs';

const MANIFESTS = ['manifest-sha256.txt', 'manifest-sha512.txt'];
const TAG_MANIFESTS = ['tagmanifest-sha256.txt', 'tagmanifest-sha512.txt'];

describe('handoffs', () => {
  let server, folder, bag, zipped, audit;
  let copies = 0;
  const scratch = path.join(temporaryFolder(), 'scratch');
  const verifyIt = (at, ...options) => fettle('verify-handoff', at, ...options);
  const asJson = (at, ...options) => {
    const { status, stdout, stderr } = verifyIt(at, '--json', ...options);
    assert.ok(stdout, stderr);
    return { status, result: JSON.parse(stdout) };
  };
  const changed = (change) => copyOf(bag, path.join(folder, `copy-${(copies += 1)}`), change);
  const read = (at, name) => readFileSync(path.join(at, name));
  const edit = (at, name, replace) => writeFileSync(path.join(at, name), replace(readFileSync(path.join(at, name), 'utf8')));
  const problemsOf = (result, check) => result.checks.find((each) => each.check === check).problems;

  before(async () => {
    folder = temporaryFolder();
    mkdirSync(scratch);
    process.env.TMPDIR = scratch;
    server = await startServer(null, { data: path.join(folder, 'data') });
    ({ audit } = await makeAudit(server));
    for (const by of SIGNERS) await signOff(server, audit.id, by);
    zipped = handOver(server, audit.id, path.join(folder, 'whole.zip'));
    bag = handOver(server, audit.id, path.join(folder, 'whole'));
  });
  after(async () => {
    assert.equal((await server.stop()).code, 0);
    assert.doesNotMatch(server.log, /Sanitizer|runtime error/);
    assert.deepEqual(readdirSync(scratch), [], 'no temporary file is left behind');
  });

  test('sha256sum and sha512sum find every file of an unpacked handoff as it was', () => {
    for (const [tool, manifest] of [['sha256sum', MANIFESTS[0]], ['sha512sum', MANIFESTS[1]], ['sha256sum', TAG_MANIFESTS[0]], ['sha512sum', TAG_MANIFESTS[1]]]) {
      const told = execFileSync(tool, ['--check', '--strict', manifest], { cwd: bag, encoding: 'utf8' });
      assert.equal(told.split('\n').filter((line) => line.endsWith(': OK')).length, read(bag, manifest).toString().split('\n').length - 1);
    }
  });

  test('unzip and the zipfile module of Python read the zip without a fault, and find the same files', () => {
    execFileSync('unzip', ['-tq', zipped]);
    const list = execFileSync('python3', ['-c', 'import sys, zipfile; z = zipfile.ZipFile(sys.argv[1]); assert z.testzip() is None; print("\\n".join(z.namelist()))', zipped], { encoding: 'utf8' });
    const [name] = list.split('/');
    assert.match(name, /^handoff-NH-[\w-]+-\d{8}T\d{6}Z$/);
    const kinds = (names) => names.map((each) => each.replace(/^[^/]*\//, '')).sort();
    assert.deepEqual(kinds(list.trim().split('\n')), filesOf(bag));
  });

  test('the bagit module of Python, where it is installed, validates it', (t) => {
    if (spawnSync('python3', ['-c', 'import bagit']).status !== 0) return t.skip('python3 has no bagit');
    execFileSync('python3', ['-m', 'bagit', '--validate', bag]);
  });

  test('OpenSSL and node verify the seal and every sign-off', () => {
    const signed = [['seal/handoff.statement.json', 'seal/handoff.sig', 'seal/key.pem'], ...SIGNERS.map((_, i) => ['.statement.json', '.sig', '.key.pem'].map((end) => `data/sign-offs/${i + 1}${end}`))];
    for (const [statement, signature, key] of signed) {
      const told = execFileSync('openssl', ['pkeyutl', '-verify', '-pubin', '-inkey', key, '-rawin', '-in', statement, '-sigfile', signature], { cwd: bag, encoding: 'utf8' });
      assert.match(told, /Signature Verified Successfully/);
      assert.ok(verify(null, read(bag, statement), createPublicKey(read(bag, key)), read(bag, signature)));
    }
    const der = createPublicKey(read(bag, 'seal/key.pem')).export({ type: 'spki', format: 'der' });
    assert.equal(asJson(bag, '--no-measure').result.handoff.seal, createHash('sha256').update(der).digest('hex'));
    assert.ok(read(bag, 'README.txt').toString().includes(createHash('sha256').update(der).digest('hex')));
  });

  test('a handoff holds as zip and as folder, and measuring it again gives every value', () => {
    for (const at of [zipped, bag]) {
      const { status, result } = asJson(at, '--key', path.join(bag, 'seal/key.pem'));
      assert.equal(status, 0, JSON.stringify(result));
      assert.equal(result.outcome, 'holds');
      assert.deepEqual(result.checks.map(({ outcome }) => outcome), Array(7).fill('holds'));
      assert.deepEqual(result.handoff.signers, SIGNERS);
      assert.equal(result.handoff.by, 'Cleo Example');
      const { file, definition, engine, differences_total } = result.measured_again;
      assert.deepEqual([file, definition, engine, differences_total], ['same', 'same', 'same', 0]);
    }
    assert.match(verifyIt(bag).stdout, /The handoff holds\./);
  });

  test('the documents in it name the files that are there', () => {
    const sha256 = (name) => createHash('sha256').update(read(bag, name)).digest('hex');
    const specimen = JSON.parse(read(bag, 'data/specimen.json'));
    for (const media of specimen['dwc:associatedMedia']) assert.equal(media['ac:hashValue'], sha256(media['ac:accessURI']));
    const crate = JSON.parse(read(bag, 'data/ro-crate-metadata.json'))['@graph'];
    const ids = new Set(crate.map((each) => each['@id']));
    assert.equal(ids.size, crate.length, 'each entity stands once');
    const root = crate.find((each) => each['@id'] === './');
    assert.deepEqual(root.hasPart.map((part) => `data/${part['@id']}`).sort(), filesOf(bag).filter((name) => name.startsWith('data/') && !name.includes('ro-crate')));
    for (const file of crate.filter((each) => [each['@type']].flat().includes('File'))) assert.equal(file.sha256, sha256(`data/${file['@id']}`));
    const named = JSON.stringify(crate).matchAll(/\{"@id":"([^"]*)"\}/g);
    for (const [, id] of named) assert.ok(ids.has(id) || id.startsWith('https://'), id);
    assert.ok(crate.some((each) => each['prov:wasDerivedFrom']));
    assert.equal(read(bag, 'data/audit.json').toString(), `${JSON.stringify(JSON.parse(read(bag, 'data/audit.json')))}\n`);
  });

  test('one byte changed in any file is found, and the file is named', () => {
    for (const [i, name] of filesOf(bag).entries()) {
      const bytes = read(bag, name);
      const at = [0, bytes.length >> 1, bytes.length - 1][i % 3];
      bytes[at] ^= 1;
      const copy = changed((to) => writeFileSync(path.join(to, name), bytes));
      const { status, result } = asJson(copy, '--no-measure');
      assert.equal(status, 1, `${name} byte ${at}`);
      assert.ok(result.checks.some(({ problems }) => problems.some((problem) => problem.path === name)), `${name} byte ${at}: ${JSON.stringify(result.checks)}`);
      rmSync(copy, { recursive: true });
    }
  });

  test('a file that is removed, added or renamed is found and named', () => {
    for (const name of filesOf(bag)) {
      const copy = changed((to) => rmSync(path.join(to, name)));
      const { status, result } = asJson(copy, '--no-measure');
      assert.equal(status, 1, name);
      assert.ok(result.checks.some(({ problems }) => problems.some((each) => each.path === name || each.text.includes(name))), name);
      rmSync(copy, { recursive: true });
    }
    for (const name of ['data/more.txt', 'more.txt', 'seal/more.txt', 'data/sign-offs/3.sig']) {
      const { status, result } = asJson(changed((to) => writeFileSync(path.join(to, name), 'x')), '--no-measure');
      assert.equal(status, 1, name);
      assert.ok(problemsOf(result, 'complete').some((each) => each.path === name), name);
    }
    const { result } = asJson(changed((to) => renameSync(path.join(to, 'data/spec.json'), path.join(to, 'data/spec2.json'))), '--no-measure');
    assert.deepEqual(problemsOf(result, 'complete').map(({ path: at }) => at).sort(), ['data/spec.json', 'data/spec2.json', 'data/spec2.json']);
  });

  /* Each breaks one rule of RFC 8493, section by section, in a bag whose other digests are right. */
  const rules = [
    ['2.1.1 bagit.txt must be there', (to) => rmSync(path.join(to, 'bagit.txt')), 'bagit.txt', /missing/],
    ['2.1.1 its version', (to) => edit(to, 'bagit.txt', (text) => text.replace('1.0', '0.97')), 'bagit.txt', /line 1 must be/],
    ['2.1.1 its encoding', (to) => edit(to, 'bagit.txt', (text) => text.replace('UTF-8', 'UTF-16')), 'bagit.txt', /line 2 must be/],
    ['2.1.1 two lines only', (to) => edit(to, 'bagit.txt', (text) => `${text}More: x\n`), 'bagit.txt', /two lines/],
    ['2.1.1 no byte order mark', (to) => edit(to, 'bagit.txt', (text) => `\ufeff${text}`), 'bagit.txt', /byte order mark/],
    ['2.1.2 a payload', (to) => rmSync(path.join(to, 'data'), { recursive: true }), 'data', /no file in data/],
    ['2.1.3 a payload manifest', (to) => rmSync(path.join(to, MANIFESTS[0])), MANIFESTS[0], /missing/],
    ['2.1.3 every payload file is listed', (to) => edit(to, MANIFESTS[1], (text) => text.replace(/.*data\/spec\.json\n/, '')), MANIFESTS[1], /does not list 'data\/spec.json'/],
    ['2.1.3 each once', (to) => edit(to, MANIFESTS[0], (text) => text + text.split('\n')[0] + '\n'), MANIFESTS[0], /another line lists already/],
    ['2.1.3 nothing outside data/', (to) => edit(to, MANIFESTS[0], (text) => `${text}${'0'.repeat(64)}  bagit.txt\n`), MANIFESTS[0], /outside data/],
    ['2.1.3 nothing upwards', (to) => edit(to, MANIFESTS[0], (text) => `${text}${'0'.repeat(64)}  data/../../x\n`), MANIFESTS[0], /leads out of its folder/],
    ['2.1.3 nothing absolute', (to) => edit(to, MANIFESTS[0], (text) => `${text}${'0'.repeat(64)}  /etc/passwd\n`), MANIFESTS[0], /absolute/],
    ['2.1.3 a name with an encoded line end', (to) => edit(to, MANIFESTS[0], (text) => `${text}${'0'.repeat(64)}  data/a%0D%0Ab\n`), MANIFESTS[0], /control byte/],
    ['2.1.3 digest, blanks, path', (to) => edit(to, MANIFESTS[0], (text) => `${text}data/x\n`), MANIFESTS[0], /not a digest, blanks and a path/],
    ['2.1.3 no other algorithm unlooked at', (to) => writeFileSync(path.join(to, 'manifest-md5.txt'), ''), 'manifest-md5.txt', /sha256 or sha512/],
    ['2.2.1 tag manifests list what is there', (to) => edit(to, TAG_MANIFESTS[0], (text) => `${text}${'0'.repeat(64)}  gone.txt\n`), TAG_MANIFESTS[0], /neither there/],
    ['2.2.1 no payload in tag manifests', (to) => edit(to, TAG_MANIFESTS[0], (text) => `${text}${'0'.repeat(64)}  data/spec.json\n`), TAG_MANIFESTS[0], /payload file/],
    ['2.2.1 no tag manifest in tag manifests', (to) => edit(to, TAG_MANIFESTS[0], (text) => `${text}${'0'.repeat(64)}  ${TAG_MANIFESTS[1]}\n`), TAG_MANIFESTS[0], /tag manifest/],
    ['2.2.2 Payload-Oxum counts files', (to) => edit(to, 'bag-info.txt', (text) => text.replace(/(Payload-Oxum: \d+)\.\d+/, '$1.99')), 'bag-info.txt', /Payload-Oxum says/],
    ['2.2.2 and bytes', (to) => edit(to, 'bag-info.txt', (text) => text.replace(/Payload-Oxum: \d+/, 'Payload-Oxum: 7')), 'bag-info.txt', /Payload-Oxum says/],
    ['2.2.2 once', (to) => edit(to, 'bag-info.txt', (text) => text + text.split('\n').at(-2) + '\n'), 'bag-info.txt', /once/],
    ['2.2.2 labels and values', (to) => edit(to, 'bag-info.txt', (text) => `${text}nothing\n`), 'bag-info.txt', /not 'Label: value'/],
    ['2.2.3 nothing is fetched', (to) => writeFileSync(path.join(to, 'fetch.txt'), 'https://example.org/x 1 data/x\n'), 'fetch.txt', /nothing is fetched/],
    ['3 every listed file is there', (to) => rmSync(path.join(to, 'data/spec.json')), 'data/spec.json', /missing/],
    ['3 every digest is right', (to) => edit(to, 'data/spec.json', (text) => `${text} `), 'data/spec.json', /bytes changed/],
  ];
  for (const [claim, change, at, text] of rules)
    test(`RFC 8493, ${claim}`, () => {
      const copy = changed(change);
      const { status, result } = asJson(copy, '--no-measure');
      const found = [...problemsOf(result, 'complete'), ...problemsOf(result, 'valid')];
      assert.equal(status, 1);
      assert.ok(found.some((each) => each.path === at && text.test(each.text)), JSON.stringify(found));
      rmSync(copy, { recursive: true });
    });

  test('lines may end with CRLF or CR, digests be upper case, values go on in the next line', () => {
    const copy = changed((to) => {
      edit(to, MANIFESTS[0], (text) => text.replace(/^[0-9a-f]{64}/gm, (hex) => hex.toUpperCase()).replaceAll('\n', '\r\n'));
      edit(to, MANIFESTS[1], (text) => text.replaceAll('\n', '\r'));
      edit(to, 'bagit.txt', (text) => text.replaceAll('\n', '\r\n').trimEnd());
      edit(to, 'bag-info.txt', (text) => text.replace('Contact-Name: ', 'Contact-Name:\n\t'));
    });
    const { result } = asJson(copy, '--no-measure');
    const told = [...problemsOf(result, 'complete'), ...problemsOf(result, 'valid')].map((each) => each.path);
    assert.deepEqual([...new Set(told)].sort(), ['bag-info.txt', 'bagit.txt', ...MANIFESTS], 'only that they are not as they were listed');
  });

  /** Digests of every file written anew, as a forger without the key would; then perhaps sealed by another key. */
  function forge(to, { seal = false } = {}) {
    const line = (algorithm) => (name) => `${createHash(algorithm).update(read(to, name)).digest('hex')}  ${name}\n`;
    const write = (names, prefix) => {
      for (const algorithm of ['sha256', 'sha512']) writeFileSync(path.join(to, `${prefix}-${algorithm}.txt`), names.map(line(algorithm)).join(''));
    };
    const payload = filesOf(to).filter((name) => name.startsWith('data/'));
    write(payload, 'manifest');
    const bytes = payload.reduce((sum, name) => sum + read(to, name).length, 0);
    edit(to, 'bag-info.txt', (text) => text.replace(/Payload-Oxum: .*/, `Payload-Oxum: ${bytes}.${payload.length}`));
    if (seal) {
      const keys = generateKeyPairSync('ed25519');
      const statement = JSON.parse(read(to, 'seal/handoff.statement.json'));
      for (const name of Object.keys(statement.tag_files))
        for (const algorithm of ['sha256', 'sha512']) statement.tag_files[name][algorithm] = createHash(algorithm).update(read(to, name)).digest('hex');
      const text = Buffer.from(JSON.stringify(statement));
      writeFileSync(path.join(to, 'seal/handoff.statement.json'), text);
      writeFileSync(path.join(to, 'seal/handoff.sig'), sign(null, text, keys.privateKey));
      writeFileSync(path.join(to, 'seal/key.pem'), keys.publicKey.export({ type: 'spki', format: 'pem' }));
    }
    write(filesOf(to).filter((name) => !name.startsWith('data/') && !name.startsWith('tagmanifest')), 'tagmanifest');
    return to;
  }

  test('a file changed with all manifests written anew is told by the seal', () => {
    const { status, result } = asJson(changed((to) => {
      edit(to, 'data/specimen.json', (text) => text.replace('Coiled shell', 'Coiled smell'));
      forge(to);
    }), '--no-measure');
    assert.equal(status, 1);
    assert.deepEqual([...problemsOf(result, 'complete'), ...problemsOf(result, 'valid')], []);
    assert.deepEqual(problemsOf(result, 'seal').map((each) => each.path).sort(), [...MANIFESTS]);
  });

  test('sealed anew with another key it is told by the key that the receiver has, and by the sign-offs', () => {
    const copy = changed((to) => {
      edit(to, 'data/files/cage-1/cage.obj', (text) => text.replace('0.9', '0.8'));
      forge(to, { seal: true });
    });
    const { status, result } = asJson(copy, '--key', path.join(bag, 'seal/key.pem'));
    assert.equal(status, 1);
    assert.ok(problemsOf(result, 'seal').some((each) => each.path === 'seal/key.pem'));
    assert.ok(problemsOf(result, 'documents').some((each) => each.path === 'data/files/cage-1/cage.obj'));
    assert.equal(result.measured_again.file, 'changed');
    assert.ok(result.measured_again.differences_total > 0);
  });

  test('a record that was changed is told by measuring again, value by value', () => {
    const copy = changed((to) => {
      edit(to, 'data/record.json', (text) => text.replace('"vertices":8', '"vertices":9'));
      forge(to, { seal: true });
    });
    const { status, result } = asJson(copy);
    assert.equal(status, 1);
    const { file, definition, engine, differences } = result.measured_again;
    assert.deepEqual([file, definition, engine], ['same', 'same', 'same']);
    assert.deepEqual(differences, [{ path: 'subject.counts.vertices', then: '9', now: '8' }]);
    assert.match(problemsOf(result, 'measure')[0].text, /the record was changed/);
    assert.ok(problemsOf(result, 'audit').length > 0, 'the audit names the record by its digest');
  });

  test('a record of another engine or by other definitions is told apart', () => {
    const { result } = asJson(changed((to) => {
      edit(to, 'data/record.json', (text) => text.replace(/"version":"[^"]*","commit":"[^"]*","definitions":1/, '"version":"0.0.9","commit":"0123","definitions":0'));
      forge(to, { seal: true });
    }));
    const { definition, engine, engine_then } = result.measured_again;
    assert.deepEqual([definition, engine, engine_then], ['changed', 'changed', '0.0.9 (0123)']);
  });

  test('a certified interval of another engine may be another one, but must overlap', () => {
    const other = (text) => text.replace(/"version":"[^"]*"/, '"version":"0.0.9"');
    const upper = (text, change) => other(text).replace(/("hausdorff":\{"lower":[^,]*,"upper":)([^,}]*)/, (_, before, value) => before + change(Number(value)));
    for (const [change, holds] of [[(x) => x * 1.01, true], [(x) => x * 0.5, false]]) {
      const { result } = asJson(changed((to) => {
        edit(to, 'data/record.json', (text) => upper(text, change));
        forge(to, { seal: true });
      }));
      assert.deepEqual(result.measured_again.differences.map((each) => each.path), ['deviation.hausdorff.upper']);
      assert.equal(problemsOf(result, 'measure').length === 0, holds, JSON.stringify(result.measured_again));
    }
  });

  test('an audit that judging again does not give is told', () => {
    const { status, result } = asJson(changed((to) => {
      edit(to, 'data/audit.json', (text) => text.replace('"upper":0.173206', '"upper":0.173205'));
      forge(to, { seal: true });
    }), '--no-measure');
    assert.equal(status, 1);
    assert.ok(problemsOf(result, 'audit').some((each) => each.path === 'data/audit.json'));
  });

  /* --- hostile ones --- */

  const refused = (name, bytes, status, text, ...options) =>
    test(`refused: ${name}`, () => {
      const at = path.join(folder, `hostile-${(copies += 1)}.zip`);
      writeFileSync(at, bytes());
      const told = verifyIt(at, '--no-measure', '--json', ...options);
      assert.equal(told.status, status, told.stdout + told.stderr);
      const result = JSON.parse(told.stdout);
      assert.equal(result.outcome, 'refused');
      assert.match(result.reason.text, text);
      assert.doesNotMatch(told.stderr, /Sanitizer|runtime error/);
    });
  const more = (...entries) => () => zip([...entriesOf(bag), ...entries]);
  const file = (name, rest = {}) => ({ name, bytes: Buffer.from('x'), ...rest });

  refused('a path upwards', more(file('bag/../../evil')), 3, /leads out of its folder/);
  refused('an absolute path', more(file('/tmp/evil')), 3, /is absolute/);
  refused('a backslash', more(file('bag\\..\\evil')), 3, /backslash/);
  refused('a drive', more(file('C:evil')), 3, /colon/);
  refused('a part "."', more(file('bag/./evil')), 3, /part '\.'/);
  refused('an empty part', more(file('bag//evil')), 3, /empty part/);
  refused('a line end in a name', more(file('bag/data/a\r\nb')), 3, /control byte/);
  refused('a zero byte in a name', more(file('bag/data/a\0b')), 3, /control byte/);
  refused('the same name twice', more(file('bag/data/spec.json')), 3, /stands in the bag twice/);
  refused('the same name by case', more(file('bag/data/SPEC.json')), 3, /case of letters only/);
  refused('a name in NFC', more(file('bag/data/caf\u00e9')), 3, /more than one way/);
  refused('a name in NFD', more(file('bag/data/cafe\u0301')), 3, /more than one way/);
  refused('a name that is no UTF-8', more(file(Buffer.from('bag/data/\xff', 'latin1'))), 3, /more than one way/);
  refused('a name that ends with a dot', more(file('bag/data/spec.json.')), 3, /ends with a dot/);
  refused('a file that is also a folder', more(file('bag/data/spec.json/x')), 3, /as a file and as a folder/);
  refused('a name of 1,001 bytes', more(file(`bag/${'a/'.repeat(498)}b`)), 3, /longer than 1,000/);
  refused('a symbolic link', more(file('bag/data/link', { mode: 0o120777 })), 3, /symbolic link/);
  refused('a device', more(file('bag/data/device', { mode: 0o020666 })), 3, /a device/);
  refused('a pipe', more(file('bag/data/pipe', { mode: 0o010666 })), 3, /a pipe/);
  refused('a file beside the bag', more(file('evil')), 3, /beside the bag's folder/);
  refused('two folders', more(file('other/evil')), 3, /beside the bag's folder/);
  refused('an encrypted entry', more(file('bag/data/x', { flags: 0x801 })), 3, /encrypted/);
  refused('an unknown method', more(file('bag/data/x', { method: 14 })), 3, /method 14/);
  refused('another name where it lies', more(file('bag/data/x', { localName: 'bag/data/y' })), 3, /another file in the directory/);
  refused('another size where it lies', more(file('bag/data/x', { localSize: 7, localPackedSize: 7 })), 3, /another size/);
  refused('stored with two sizes', more(file('bag/data/x', { size: 1000 })), 3, /stored with two lengths/);
  refused('an entry that lies nowhere', more(file('bag/data/x', { absent: true, offset: 0xfffffff0 })), 3, /where it cannot|overlaps|belong to no file/);
  refused('entries that overlap', more(file('bag/data/x', { absent: true, offset: 0 })), 3, /overlaps/);
  refused('too few entries in the directory', () => zip(entriesOf(bag), { count: 3 }), 3, /more entries than it says|another length/);
  refused('too many entries said', () => zip(entriesOf(bag), { count: 60 }), 3, /fewer entries than it says|another length/);
  refused('a directory elsewhere', () => zip(entriesOf(bag), { offset: 4 }), 3, /not where it says/);
  refused('bytes that belong to no file', () => zip(entriesOf(bag), { gap: Buffer.alloc(100) }), 3, /belong to no file/);
  refused('bytes behind its end', () => zip(entriesOf(bag), { tail: 'x' }), 3, /appended/);
  refused('one of several parts', () => zip(entriesOf(bag), { disk: 1 }), 3, /several parts/);
  refused('a zip cut short', () => zip(entriesOf(bag)).subarray(0, 5000), 3, /not at its end/);
  refused('no zip', () => Buffer.from('solid x\nendsolid x\n'.repeat(9)), 3, /no zip/);
  refused('an empty zip', () => zip([]), 3, /empty/);
  refused('a bomb by ratio', more({ name: 'bag/data/zeros', bytes: Buffer.alloc(4 << 20), deflate: true }), 4, /more than 200 times/);
  refused('a bomb by what it says', more(file('bag/data/x', { deflate: true, size: 0xfffffffe })), 4, /more than 200 times/);
  refused('a bomb by total', more(), 4, /more than 1000 bytes/, '--max-bytes', '1000');
  refused('a bomb by count', more(), 4, /the limit is 5/, '--max-files', '5');
  refused('a bomb by overlap', () => {
    const kernel = { name: 'bag/data/0', bytes: Buffer.from('x'.repeat(1000)) };
    return zip([kernel, ...Array.from({ length: 50 }, (_, i) => ({ ...kernel, name: `bag/data/${i + 1}`, absent: true, offset: 0 }))]);
  }, 3, /overlaps/);

  test('packed bytes that give more, less or others than they say are told of the file', () => {
    const cases = [{ size: 7 }, { crc: 1 }, { packed: Buffer.from([1, 2, 3]) }];
    for (const lie of cases) {
      const entries = entriesOf(bag).map((entry) => (entry.name === 'bag/data/spec.json' ? { ...entry, deflate: true, ...lie } : entry));
      const at = path.join(folder, 'lie.zip');
      writeFileSync(at, zip(entries));
      const { status, result } = asJson(at, '--no-measure');
      assert.equal(status, 1);
      assert.ok(problemsOf(result, 'valid').some((each) => each.path === 'data/spec.json' && /packed/.test(each.text)), JSON.stringify(result.checks));
    }
    const at = path.join(folder, 'deflated.zip');
    writeFileSync(at, zip([{ name: 'bag/' , mode: 0o040755 }, ...entriesOf(bag).map((entry) => ({ ...entry, deflate: true }))]));
    assert.equal(verifyIt(at).status, 0, 'deflated by others it holds all the same');
  });

  test('links, devices and pipes in a folder are refused, and nothing is read through them', () => {
    const cases = [
      [(to) => symlinkSync('/etc/passwd', path.join(to, 'data/link')), /symbolic link/],
      [(to) => symlinkSync('..', path.join(to, 'data/up')), /symbolic link/],
      [(to) => linkSync(path.join(to, 'data/spec.json'), path.join(to, 'data/spec2.json')), /several names/],
      [(to) => execFileSync('mkfifo', [path.join(to, 'data/pipe')]), /neither a file nor a folder/],
      [(to) => writeFileSync(path.join(to, 'data/a\nb'), 'x'), /control byte/],
      [(to) => mkdirSync(path.join(to, 'x/'.repeat(40)), { recursive: true }), /32 folders deep/],
    ];
    for (const [change, text] of cases) {
      const told = verifyIt(changed(change), '--no-measure');
      assert.equal(told.status, 3, told.stderr);
      assert.match(told.stderr, text);
    }
  });

  test('a huge manifest and documents nested without end are refused or told, and end', () => {
    const huge = changed((to) => writeFileSync(path.join(to, MANIFESTS[0]), Buffer.alloc(17 << 20, 'x')));
    const told = verifyIt(huge, '--no-measure');
    assert.equal(told.status, 4, told.stderr);
    for (const name of ['data/record.json', 'data/spec.json', 'data/audit.json', 'seal/handoff.statement.json', 'data/sign-offs/1.statement.json']) {
      const { status, result } = asJson(changed((to) => writeFileSync(path.join(to, name), '['.repeat(1 << 16))), '--no-measure');
      assert.equal(status, 1, name);
      assert.ok(result.checks.some(({ problems }) => problems.some((each) => each.path === name)));
    }
    const lines = changed((to) => writeFileSync(path.join(to, MANIFESTS[0]), Array.from({ length: 50000 }, (_, i) => `${'0'.repeat(64)}  data/${i}\n`).join('')));
    assert.ok(asJson(lines, '--no-measure').result.checks[0].problems_total >= 50000);
  });

  test('a bag that is no handoff is told so, and wrong usage has its exit status', () => {
    const plain = changed((to) => {
      rmSync(path.join(to, 'seal'), { recursive: true });
      forge(to);
    });
    const { status, result } = asJson(plain);
    assert.equal(status, 1);
    assert.match(problemsOf(result, 'seal')[0].text, /there is no seal\/handoff.statement.json/);
    assert.equal(verifyIt(path.join(folder, 'nowhere.zip')).status, 3);
    assert.equal(fettle('verify-handoff').status, 2);
    assert.equal(verifyIt(bag, bag).status, 2);
    assert.equal(fettle('handoff', '--data', server.data).status, 2);
    assert.equal(fettle('handoff', '--data', server.data, '--audit', '99', '--out', path.join(folder, 'x.zip')).status, 3);
    assert.equal(fettle('handoff', '--data', server.data, '--audit', audit.id, '--out', zipped).status, 2, 'nothing is written over');
    assert.ok(!existsSync(path.join(folder, 'x.zip')));
  });
});
