// dropped-files.js - every file of a drop or of an input, with its path inside what was given: { file, path }. A file that the system
// does not hand over has file null.

/** @param {DataTransfer} transfer  read at once: it is empty after the event */
export async function filesOfDrop(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (entries.length === 0) return [...transfer.files].map((file) => ({ file, path: file.name }));
  return filesOfEntries(entries);
}

/** @param {Iterable<File>} files  of an input, with webkitdirectory or without */
export function filesOfInput(files) {
  return [...files].map((file) => ({ file, path: file.webkitRelativePath || file.name }));
}

/** Entries of the File and Directory Entries API, folders and their folders included, in the order of their names. */
export async function filesOfEntries(entries) {
  const sorted = [...entries].sort((a, b) => (a.name < b.name ? -1 : 1));
  return (await Promise.all(sorted.map(filesOf))).flat();
}

async function filesOf(entry) {
  const path = entry.fullPath.replace(/^\//, '');
  try {
    if (entry.isFile) return [{ file: await new Promise((resolve, reject) => entry.file(resolve, reject)), path }];
    return await filesOfEntries(await entriesOf(entry.createReader()));
  } catch {
    return [{ file: null, path }];
  }
}

/** A reader hands out a folder in pieces (browsers differ in how large); an empty one is the end. */
async function entriesOf(reader) {
  const found = [];
  for (;;) {
    const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
    if (some.length === 0) return found;
    found.push(...some);
  }
}
