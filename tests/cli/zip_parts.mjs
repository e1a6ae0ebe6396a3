// zip_parts.mjs - zips made by hand, so that a test can write what no honest program does. Stored entries, unless `deflate`.
import { crc32, deflateRawSync } from 'node:zlib';

const number = (bytes, value) => {
  const out = Buffer.alloc(bytes);
  if (bytes === 8) out.writeBigUInt64LE(BigInt(value));
  else out.writeUIntLE(value, 0, bytes);
  return out;
};

/** CRC-32 (ISO 3309), for a node that has it not. */
const crc = crc32 ?? ((bytes) => {
  let c = ~0;
  for (const byte of bytes) {
    c ^= byte;
    for (let k = 0; k < 8; k++) c = (c >>> 1) ^ (0xedb88320 & -(c & 1));
  }
  return ~c >>> 0;
});

function fields(entry) {
  const { bytes = Buffer.alloc(0), deflate = false } = entry;
  const packed = entry.packed ?? (deflate ? deflateRawSync(bytes, { level: 9 }) : bytes);
  return {
    method: deflate ? 8 : 0, flags: 0x800, crc: crc(bytes), packedSize: packed.length, size: bytes.length,
    mode: 0o100644, host: 3, ...entry, name: Buffer.from(entry.name), packed,
  };
}

function local(f) {
  return Buffer.concat([
    number(4, 0x04034b50), number(2, 20), number(2, f.flags), number(2, f.localMethod ?? f.method), number(4, 0), number(4, f.localCrc ?? f.crc),
    number(4, f.localPackedSize ?? f.packedSize), number(4, f.localSize ?? f.size), number(2, (f.localName ?? f.name).length), number(2, 0),
    Buffer.from(f.localName ?? f.name), f.packed,
  ]);
}

function central(f, offset) {
  return Buffer.concat([
    number(4, 0x02014b50), number(1, 20), number(1, f.host), number(2, 20), number(2, f.flags), number(2, f.method), number(4, 0), number(4, f.crc),
    number(4, f.packedSize), number(4, f.size), number(2, f.name.length), number(2, 0), number(2, 0), number(2, 0), number(2, 0),
    number(4, f.mode * 0x10000), number(4, f.offset ?? offset), f.name,
  ]);
}

/** @param {object[]} entries  { name, bytes, deflate, and any field to be lied about } @param {object} lies  count, offset, size, comment, gap, tail */
export function zip(entries, lies = {}) {
  const parts = [], directory = [];
  let at = 0;
  for (const entry of entries) {
    const f = fields(entry);
    directory.push(central(f, at));
    if (entry.absent) continue;
    parts.push(local(f));
    at += parts.at(-1).length;
  }
  if (lies.gap) {
    parts.push(lies.gap);
    at += lies.gap.length;
  }
  const all = Buffer.concat(directory);
  const count = lies.count ?? entries.length;
  return Buffer.concat([
    ...parts, all, number(4, 0x06054b50), number(2, lies.disk ?? 0), number(2, 0), number(2, count), number(2, count),
    number(4, lies.size ?? all.length), number(4, lies.offset ?? at), number(2, lies.comment?.length ?? 0), Buffer.from(lies.comment ?? ''), Buffer.from(lies.tail ?? ''),
  ]);
}
