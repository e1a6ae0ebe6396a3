// fused.test.mjs - the program holds no fused multiply-add: such an instruction rounds once where C rounds twice, so
// that a record would depend on the machine. FETTLE is the program, OBJDUMP what reads its instructions.
import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { createInterface } from 'node:readline';
import { test } from 'node:test';

const program = process.env.FETTLE;
const objdump = process.env.OBJDUMP ?? 'objdump';

// x86-64: vfmadd231sd, vfnmsub213pd, vfmaddsub132ps, ...; arm64: fmadd, fnmsub, fmla, fmls, fmlal, ...
const fused = /\t(v?fn?m(add|sub|la|ls)\S*)\s/;
const multiplication = /\t(v?mul[sp]d|fmul)\s/;

test('the_patterns_know_instructions_of_both_machines', () => {
  for (const line of ['  4:\tvfmadd231sd %xmm1,%xmm2,%xmm0', '  4:\tvfnmsub132pd %ymm1,%ymm2,%ymm0', '  4:\tfmadd d0, d1, d2, d3',
    '  4:\tfnmsub\td0, d1, d2, d3', '  4:\tfmla\tv0.2d, v1.2d, v2.2d', '  4:\tfmls\tv0.4s, v1.4s, v2.4s'])
    assert.match(line, fused);
  for (const line of ['  4:\tmulsd  %xmm1,%xmm0', '  4:\tvmulpd %ymm1,%ymm2,%ymm0', '  4:\tfmul\td0, d1, d2']) {
    assert.doesNotMatch(line, fused);
    assert.match(line, multiplication);
  }
});

test('no_instruction_of_the_program_is_a_fused_multiply_add', async () => {
  const child = spawn(objdump, ['-d', '--no-show-raw-insn', program], { stdio: ['ignore', 'pipe', 'inherit'] });
  const ended = new Promise((resolve, reject) => child.on('close', resolve).on('error', reject));
  const found = [];
  let multiplications = 0, subroutine = '';
  for await (const line of createInterface({ input: child.stdout })) {
    if (line.endsWith('>:')) subroutine = line;
    if (multiplication.test(line)) multiplications++;
    if (fused.test(line)) found.push(`${subroutine} ${line.trim()}`);
  }
  assert.equal(await ended, 0);
  assert.ok(multiplications > 100, `${multiplications} multiplications: is ${program} the program?`);
  assert.deepEqual(found, []);
});
