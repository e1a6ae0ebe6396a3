// dropped-files.js - every file of a drop, of an input or of a picker: { file, path, source }, path being inside what was given. A file that
// the system does not hand over has file null. `source` says where the file can be read again once the page was left, { root, way }: a
// handle of the File System Access API and the names that lead from it to the file; null where the browser has none.

/** @param {DataTransfer} transfer  read at once: it is empty after the event */
export async function filesOfDrop(transfer) {
  const given = [...transfer.items]
    .filter(({ kind }) => kind === 'file')
    .map((item) => ({ asked: item.getAsFileSystemHandle?.(), entry: item.webkitGetAsEntry?.(), file: item.getAsFile() }));
  const found = await Promise.all(
    given.map(async ({ asked, entry, file }) => {
      const handle = await Promise.resolve(asked).catch(() => null);
      if (handle) return filesOfHandle(handle);
      if (entry) return filesOfEntries([entry]);
      return file ? filesOfInput([file]) : [];
    }),
  );
  return found.flat().sort(byPath);
}

const byPath = (a, b) => (a.path < b.path ? -1 : Number(a.path > b.path));

/** @param {Iterable<File>} files  of an input, with webkitdirectory or without */
export function filesOfInput(files) {
  return [...files].map((file) => ({ file, path: file.webkitRelativePath || file.name, source: null }));
}

/** Whether the browser's own picker hands out handles: only some browsers have it, and only over https or on this machine. */
export function canPick(folder) {
  return (folder ? 'showDirectoryPicker' : 'showOpenFilePicker') in window;
}

/** What somebody picks; nothing where the picker is left without a choice. */
export async function filesOfPicker({ folder = false, multiple = true }) {
  let handles;
  try {
    handles = folder ? [await window.showDirectoryPicker({ id: 'meshes' })] : await window.showOpenFilePicker({ id: 'meshes', multiple });
  } catch {
    return [];
  }
  return (await Promise.all(handles.map(filesOfHandle))).flat().sort(byPath);
}

/** @param {FileSystemHandle} root  a file, or a folder and all in it */
export function filesOfHandle(root) {
  return filesUnder(root, root, []);
}

async function filesUnder(root, handle, way) {
  const path = [root.name, ...way].join('/');
  try {
    if (handle.kind === 'file') return [{ file: await handle.getFile(), path, source: { root, way } }];
    const found = [];
    for await (const inside of handle.values()) found.push(filesUnder(root, inside, [...way, inside.name]));
    return (await Promise.all(found)).flat();
  } catch {
    return [{ file: null, path, source: null }];
  }
}

/** Whether this page may read there; the browser asks its reader, which it does only after a click or a key. */
export async function mayRead({ root }) {
  try {
    return (await root.requestPermission({ mode: 'read' })) === 'granted';
  } catch {
    return false;
  }
}

/** The file as it is now; fails where it is not there any longer. */
export async function fileOfSource({ root, way }) {
  let handle = root;
  for (const name of way.slice(0, -1)) handle = await handle.getDirectoryHandle(name);
  if (way.length > 0) handle = await handle.getFileHandle(way.at(-1));
  return handle.getFile();
}

/** Entries of the File and Directory Entries API, folders and their folders included, in the order of their names. */
export async function filesOfEntries(entries) {
  const sorted = [...entries].sort((a, b) => (a.name < b.name ? -1 : 1));
  return (await Promise.all(sorted.map(filesOf))).flat();
}

async function filesOf(entry) {
  const path = entry.fullPath.replace(/^\//, '');
  try {
    if (!entry.isFile) return await filesOfEntries(await entriesOf(entry.createReader()));
    return [{ file: await new Promise((resolve, reject) => entry.file(resolve, reject)), path, source: null }];
  } catch {
    return [{ file: null, path, source: null }];
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
