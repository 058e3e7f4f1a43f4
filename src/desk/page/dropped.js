// What was dropped: files, and the audio files in folders, within bounds.

// As the program takes them from a folder; what is dropped by itself is taken whatever its name.
const kAudio = new Set(("wav wave bwf rf64 bw64 w64 aif aiff aifc caf flac ogg oga opus mp3 m4a m4b m4r mp4 m4v mov aac wma wv ape dsf dff mka mpc ac3 " +
  "ec3 dts sd2 au snd amr").split(" "));
const kDeepest = 64, kMostLookedAt = 20000;

export const namedLikeAudio = (name) => !name.startsWith("._") && name.includes(".") && kAudio.has(name.split(".").pop().toLowerCase());

const readSome = (reader) => new Promise((done) => reader.readEntries(done, () => done([])));
const fileOf = (entry) => new Promise((done) => entry.file(done, () => done(null)));

/** What to know of entries before the event ends; they are gone after it. */
export function held(transfer) {
  const entries = [], files = [];
  for (const item of transfer.items || []) {
    if (item.kind !== "file") continue;
    const entry = item.webkitGetAsEntry ? item.webkitGetAsEntry() : null;
    if (entry) entries.push(entry);
    else if (item.getAsFile()) files.push(item.getAsFile());
  }
  if (!entries.length && !files.length) files.push(...(transfer.files || []));
  return {entries, files};
}

/** At most `most` files, and how many were left off: no audio by name, or over the bound. */
export async function gather({entries, files}, most) {
  const found = [];
  let noAudio = 0, tooMany = 0, lookedAt = 0;
  const take = (file) => {
    if (!file) return;
    if (found.length < most) found.push(file);
    else ++tooMany;
  };
  files.forEach(take);
  const walk = async (entry, depth) => {
    if (++lookedAt > kMostLookedAt) return void ++tooMany;
    if (entry.isFile) {
      if (depth && !namedLikeAudio(entry.name)) return void ++noAudio;
      if (found.length >= most) return void ++tooMany;
      return take(await fileOf(entry));
    }
    if (depth >= kDeepest) return void ++tooMany;
    const reader = entry.createReader();
    for (let some = await readSome(reader); some.length; some = await readSome(reader)) {
      for (const one of some) await walk(one, depth + 1);
      if (lookedAt > kMostLookedAt) return;
    }
  };
  for (const entry of entries) await walk(entry, 0);
  return {found, noAudio, tooMany};
}

/** The same of a folder that was picked with the button. */
export function fromPicked(files, most) {
  const audio = [...files].filter((file) => namedLikeAudio(file.name));
  return {found: audio.slice(0, most), noAudio: files.length - audio.length, tooMany: Math.max(0, audio.length - most)};
}
