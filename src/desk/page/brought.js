// Files that somebody dropped or picked: on their way to the program, or there.
import {ask, get, send} from "./api.js";
import {fromPicked, gather, held} from "./dropped.js";
import {keep, kept} from "./kept.js";
import {Picklist} from "./picklist.js";
import {say, tell, unsay} from "./say.js";
import {by, bytes, many, plain, put} from "./words.js";

// What has less than this to go is let arrive and deleted then: it could arrive while it is broken off, and nobody would know of it.
const kAtOnce = 3, kSoonHere = 64e6;

export class Brought {
  /** `told`: {changed(), enter()}. */
  constructor(chosen, told) {
    this.chosen = chosen;
    this.told = told;
    this.limits = {upload_bytes: Infinity, upload_files: 500};
    this.all = new Map();
    this.next = 0;
    this.frame = 0;
    this.list = new Picklist(by("brought-list"), "Files that you added", chosen, {changed: told.changed, enter: told.enter, remove: (key) => this.remove([key])});
    by("add-files").addEventListener("click", () => by("pick-files").click());
    by("add-folder").addEventListener("click", () => by("pick-folder").click());
    by("pick-files").addEventListener("change", (event) => this.picked(event.target, (files) => ({found: [...files].slice(0, this.room()), noAudio: 0, tooMany: Math.max(0, files.length - this.room())})));
    by("pick-folder").addEventListener("change", (event) => this.picked(event.target, (files) => fromPicked(files, this.room())));
    by("brought-clear").addEventListener("click", () => this.remove([...this.all.keys()]));
    this.drops();
    // Taken off the list while a check still had them.
    this.left = new Set(kept("left") || []);
  }

  /** What was added before this page was loaded, or from another one: the program has it until its end. */
  async again() {
    const before = [...this.all.values()].filter((one) => one.upload);
    let listed;
    try {
      listed = (await get("api/uploads")).uploads;
    } catch {
      return;
    }
    const there = new Set(listed.map((one) => one.upload));
    for (const one of before) if (!there.has(one.upload)) this.all.delete(one.key), this.chosen.delete(one.key);
    // One that has just arrived may be known by its id to the program, and not yet here.
    if (!this.busy()) {
      for (const {upload, name, bytes: size} of listed) {
        if (this.left.has(upload) || this.of(upload)) continue;
        const one = {key: `upload:${upload}`, name, bytes: size, sent: size, state: "ready", upload, asked: {upload}, stop: new AbortController()};
        this.all.set(one.key, one);
      }
    }
    this.draw();
  }

  /** The one that the program knows by this id. */
  of(upload) {
    return [...this.all.values()].find((one) => one.upload === upload);
  }

  room() {
    return Math.max(0, this.limits.upload_files - this.all.size);
  }

  drops() {
    const holds = (event) => [...(event.dataTransfer?.types || [])].includes("Files");
    const veil = (on) => (by("drop").hidden = !on);
    addEventListener("dragenter", (event) => holds(event) && veil(true));
    addEventListener("dragover", (event) => {
      if (!holds(event)) return;
      event.preventDefault();
      event.dataTransfer.dropEffect = "copy";
    });
    addEventListener("dragleave", (event) => event.relatedTarget || veil(false));
    addEventListener("dragend", () => veil(false));
    addEventListener("drop", async (event) => {
      veil(false);
      if (!holds(event)) return;
      event.preventDefault();
      this.add(await gather(held(event.dataTransfer), this.room()));
    });
  }

  picked(input, choose) {
    const files = [...input.files];
    // Emptied, so that the same file can be picked again.
    input.value = "";
    if (files.length) this.add(choose(files));
  }

  add({found, noAudio, tooMany}) {
    const words = [];
    if (tooMany) words.push(`${many(tooMany, "file was", "files were")} left off: at most ${this.limits.upload_files} can be held here. Remove some, or start “sendworthy desk” in their folder.`);
    if (noAudio) words.push(`${many(noAudio, "file is", "files are")} no audio by name and ${noAudio === 1 ? "was" : "were"} left off.`);
    if (!found.length && !words.length) words.push("There was no file in that.");
    if (words.length) tell("added", words.join(" "));
    for (const file of found) {
      const one = {key: `added:${++this.next}`, name: file.name, file, bytes: file.size, sent: 0, state: "waiting", stop: new AbortController()};
      if (file.size > this.limits.upload_bytes) {
        one.state = "failed";
        one.text = `“${file.name}” is larger than ${bytes(this.limits.upload_bytes)}, the most this page takes. Start “sendworthy desk” in its folder instead: files there are read where they are.`;
      }
      this.all.set(one.key, one);
      if (one.state === "waiting") this.chosen.set(one.key, one);
    }
    if (found.length) say(`${many(found.length, "file", "files")} added.`);
    this.draw();
    this.told.changed();
    for (let i = 0; i < kAtOnce; ++i) this.pump();
  }

  busy() {
    return [...this.all.values()].filter((one) => one.state === "waiting" || one.state === "sending").length;
  }

  async pump() {
    const going = [...this.all.values()].filter((one) => one.state === "sending").length;
    const one = [...this.all.values()].find((each) => each.state === "waiting");
    if (!one || going >= kAtOnce) return;
    one.state = "sending";
    try {
      const answer = await send(one.file, one.name, (sent) => {
        one.sent = sent;
        this.soon();
      }, one.stop.signal);
      one.upload = answer.upload;
      one.asked = {upload: answer.upload};
      one.state = "ready";
      this.onready?.(one);
      if (!this.all.has(one.key)) this.drop(one);
      else if (!this.busy()) say("All files have arrived.");
    } catch (error) {
      if (error.code !== "cancelled") {
        one.state = "failed";
        one.text = error.message;
        this.chosen.delete(one.key);
        say(error.message);
      }
    }
    // The bytes are no longer needed here.
    one.file = null;
    this.draw();
    this.told.changed();
    this.pump();
  }

  drop(one) {
    if (one.upload && one.used) {
      this.left.add(one.upload);
      keep("left", [...this.left]);
    }
    if (one.upload && !one.used) ask("DELETE", `api/upload?upload=${encodeURIComponent(one.upload)}`).catch(() => {});
  }

  /** The program no longer has it. */
  forget(one) {
    this.all.delete(one.key);
    this.chosen.delete(one.key);
    this.draw();
    this.told.changed();
  }

  remove(keys) {
    for (const key of keys) {
      const one = this.all.get(key);
      if (!one) continue;
      this.all.delete(key);
      this.chosen.delete(key);
      if (one.state !== "sending" || one.bytes - one.sent > kSoonHere) one.stop.abort();
      if (one.state !== "sending") this.drop(one);
    }
    // There is room again for what was left off.
    if (!this.all.size) unsay("added");
    if (!this.all.size && by("brought").contains(document.activeElement)) by("add-files").focus();
    this.draw();
    this.told.changed();
  }

  soon() {
    this.frame ||= requestAnimationFrame(() => {
      this.frame = 0;
      this.draw();
    });
  }

  draw() {
    const words = {waiting: () => "waiting", sending: (one) => `${one.bytes ? Math.floor((100 * one.sent) / one.bytes) : 0} %`, ready: () => "", failed: () => "not here"};
    const items = [...this.all.values()].map((one) => Object.assign(one, {tag: words[one.state](one), detail: bytes(one.bytes), bad: one.state === "failed"}));
    // First in sight: a list without a height shows no row.
    by("brought").hidden = !items.length;
    this.list.update(items);
    const busy = this.busy(), failed = items.filter((one) => one.state === "failed");
    const whole = items.reduce((sum, one) => sum + one.bytes, 0), over = items.reduce((sum, one) => sum + (one.state === "ready" ? one.bytes : one.state === "sending" ? one.sent : 0), 0);
    put(by("brought-clear"), busy ? "Cancel and remove all" : "Remove all");
    put(by("brought-state"), failed.length ? `${plain(failed[0].text)}${failed.length > 1 ? ` And ${failed.length - 1} more.` : ""}`
      : busy ? `${many(busy, "file", "files")} on the way: ${bytes(over)} of ${bytes(whole)}.` : `${many(items.length, "file", "files")} here. Delete removes the one you are on.`);
    by("brought-state").classList.toggle("fail", failed.length > 0);
  }
}
