// The places of a sheet, each to be heard at a press: in the file it was found in, a little before and after, in the way its question
// needs.
import {get} from "./api.js";
import {rove} from "./rove.js";
import {timeText} from "./times.js";
import {wayAlone} from "./ways.js";
import {by, make, many, put} from "./words.js";

// So many places of one finding are shown unasked; sheets of so many files are not read unasked.
const kShown = 6, kUnasked = 40;

const kSerious = [(one) => one.status === "fail", (one) => one.status === "not measured" && !one.optional, (one) => one.status === "warn"];
const kLesser = [(one) => one.status === "note", (one) => one.status === "not measured" && one.optional, (one) => one.status === "waived"];

/** Findings in the order and with the numbers of the sheet. */
const numbered = (findings, kinds, before) => kinds.flatMap((kind) => findings.filter(kind)).map((finding, i) => ({finding, number: before + i + 1}));

/** "Low-band correlation" of "low_band_correlation". */
const spoken = (id) => {
  const words = String(id).replace(/[_-]+/g, " ").trim();
  return words.charAt(0).toUpperCase() + words.slice(1);
};

const kWords = {true: "yes", false: "no"};
// Of these a sheet always says the sign.
const kSigned = new Set(["LUFS", "LU", "dBTP", "dBFS", "dB"]);

/** What a finding says in one line, much as its sheet does. `titles`: of measurements, by id. */
export function headline(finding, titles = {}) {
  const title = finding.measure ? titles[finding.measure] ?? spoken(finding.measure) : spoken(finding.rule);
  const value = finding.value === null || finding.value === undefined ? finding.reason || finding.status : `${finding.value > 0 && kSigned.has(finding.unit) ? "+" : ""}${kWords[finding.value] ?? finding.value}${finding.unit && finding.unit !== "count" ? ` ${finding.unit}` : ""}`;
  const bound = ["above", "below", "none"].includes(finding.limit_kind) && !["yes", "no"].includes(finding.limit_text);
  return `${title}: ${value}${finding.limit_text ? `${bound ? ", " : ", should be "}${finding.limit_text}` : ""}`;
}

/** Whether a place lies in the sound; others are places in the bytes of the file. */
const sounds = (where) => !(where.end_frame <= 0 && where.start_frame <= 0 && /^byte \d/.test(where.note || ""));

function placeText(where, channels) {
  const side = !where.channel ? "" : channels === 2 && where.channel <= 2 ? ["left", "right"][where.channel - 1] : `channel ${where.channel}`;
  const start = timeText(where.start_s), end = timeText(Math.max(where.start_s, where.end_s));
  return `${start}${end === start ? "" : ` to ${end}`}${side ? ` ${side}` : ""}`;
}

/** In which way a place of a finding is heard: one channel of many alone, or the others would lie over it. */
function wayOf(finding, where, channels, known) {
  const alone = where.channel > 0 && where.channel <= channels && channels > 2 ? wayAlone(where.channel) : undefined;
  if (known.by_channel.includes(finding.measure) && (alone || (channels === 2 && where.channel > 0))) return alone ?? (where.channel === 1 ? "left" : "right");
  return known.heard[finding.rule] ?? known.heard[finding.measure] ?? alone;
}

/** What of a sheet can be heard: groups of entries of places. `check`: its id; `known`: what the program says of listening. A group:
 *  {title, entries: [{number, css, head, places: [{text, about, request}]}]}. */
export function placesOf(sheet, check, known) {
  const files = sheet.files || [], partOf = new Map(files.map((file, i) => [file.path, i + 1]));
  const mix = sheet.song?.mix, alone = files.length === 1 ? files[0].path : mix;
  const nameOf = (path) => (path === mix ? "the mix" : sheet.stems?.find((stem) => stem.path === path)?.name ?? String(path).split("/").pop());
  const requestOf = (path, from, to, way, text, key) => ({
    source: {check, part: partOf.get(path)}, name: nameOf(path), place: text, from_s: Math.max(0, from - known.before_s), to_s: to + known.after_s, way, key,
  });
  const entryOf = ({finding, number}, file, unlike) => {
    const places = (finding.where || []).filter(sounds).flatMap((where, i) => {
      const path = where.file || file || finding.files?.find((one) => partOf.has(one)) || alone;
      if (!partOf.has(path)) return [];
      const channels = files[partOf.get(path) - 1].facts?.channels, text = placeText(where, channels), way = wayOf(finding, where, channels, known);
      return [{text: where.file && where.file !== file && where.file !== alone ? `${nameOf(path)} ${text}` : text, about: where.note, start_s: where.start_s, request: requestOf(path, where.start_s, where.end_s, way, text, `${check} ${unlike} ${number} ${i}`)}];
    });
    const css = kSerious[2](finding) ? "warn" : kLesser.some((kind) => kind(finding)) ? "note" : "fail";
    // A sheet keeps so many places of a finding and no more; of what it keeps, not all may lie in the sound.
    const total = places.length === (finding.where || []).length ? Math.max(finding.where_total || 0, places.length) : places.length;
    return {number, css, head: headline(finding, known.titles), places, total};
  };
  const groups = [];
  const add = (title, entries) => {
    const some = entries.filter((entry) => entry.places.length);
    if (some.length) groups.push({title, entries: some});
  };
  const of = (list, file, unlike) => list.map((one) => entryOf(one, file, unlike));

  if (sheet.song) {
    let count = 0;
    const next = (findings, kinds) => {
      const list = numbered(findings, kinds, count);
      count += list.length;
      return list;
    };
    // As the song's sheet numbers them: first what speaks against it, of all files, then the rest.
    const rows = [[sheet.findings || [], null], ...files.map((file) => [file.findings || [], file.path])];
    const all = rows.map(([findings]) => next(findings, kSerious));
    rows.forEach(([findings], i) => all[i].push(...next(findings, kLesser)));
    rows.forEach(([, path], i) => add(path === null ? "The song" : `${nameOf(path)}, as a file`, of(all[i], path, "song")));
    add("Parts under parts", (sheet.pairs || []).filter((pair) => pair.masked_percent > 0 && pair.passages?.length).map((pair, n) => ({
      number: null, css: "note", head: `${pair.part} under ${pair.masker}: ${pair.masked_percent} % covered`,
      places: pair.passages.filter((one) => one.masked_percent > 0).map((one, i) => {
        const text = `${timeText(one.start_s, 1)} to ${timeText(one.end_s, 1)}`;
        return {text, about: `${one.low_hz} to ${one.high_hz} Hz, ${one.masked_percent} % covered`, request: requestOf(mix, one.start_s, one.end_s, known.heard.masking, text, `${check} pair ${n} ${i}`)};
      }).filter((place) => place.request.source.part),
    })));
    return groups;
  }
  for (const [n, pair] of (sheet.pairs || []).entries()) {
    if (!partOf.has(pair.old) || !partOf.has(pair.new)) continue;
    add(`Where they part: ${nameOf(pair.old)}, ${nameOf(pair.new)}`, (pair.edits || []).map((edit, i) => ({
      number: i + 1, css: "warn", head: edit.words,
      places: [["old", pair.old], ["new", pair.new]].map(([which, path]) => {
        const from = edit[`${which}_start_s`], to = edit[`${which}_end_s`], text = `${which} ${timeText(from)}`;
        return {text, about: "", request: requestOf(path, from, to, undefined, text, `${check} edit ${n} ${i} ${which}`)};
      }),
    })));
  }
  add("Of the whole set", of((sheet.findings || []).map((finding, i) => ({finding, number: i + 1})).filter(({finding}) => finding.status !== "pass"), null, "set"));
  files.forEach((file, i) => add(files.length > 1 ? nameOf(file.path) : "", of(numbered(file.findings || [], [...kSerious, ...kLesser], 0), file.path, `file ${i + 1}`)));
  return groups;
}

/** Tells "places" when those of another check are there. */
export class Hear extends EventTarget {
  constructor(player) {
    super();
    this.player = player;
    this.groups = [];
    this.id = null;
    this.buttons = new Map();
    this.list = rove(by("hear-list"), "button");
    player.addEventListener("change", () => this.mark());
  }

  none() {
    this.id = null;
    this.groups = [];
    this.buttons.clear();
    by("hear").hidden = true;
    by("hear-list").replaceChildren();
  }

  /** The places of a check that is done. Resolves once they are there, or it is known that there are none. */
  async take(check) {
    if (this.id === check.check) return;
    this.none();
    this.id = check.check;
    if (check.files.length <= kUnasked) return this.read(check.check);
    const button = make("button", {type: "button", className: "small", text: `Look for places in ${check.files.length} files`});
    button.addEventListener("click", () => this.read(check.check).then(() => this.focus()));
    this.show([make("p", {}, button)], "");
  }

  async read(id) {
    let sheet;
    try {
      sheet = await get(`api/checks/${encodeURIComponent(id)}/sheet.json`);
    } catch (error) {
      if (this.id === id) this.show([make("p", {className: "soft", text: error.message})], "");
      return;
    }
    if (this.id !== id) return;
    const groups = placesOf(sheet, id, this.player.known);
    const sum = (of) => groups.reduce((all, group) => all + group.entries.reduce((some, entry) => some + of(entry), 0), 0);
    const count = sum((entry) => entry.places.length), total = sum((entry) => entry.total ?? entry.places.length);
    this.buttons.clear();
    if (count) this.player.bar.want();
    this.show(groups.flatMap((group) => this.group(group)), count ? `${total > count ? `${count} of ${total} places` : many(count, "place", "places")}; each plays with a little before and after` : "Nothing on this sheet has a place in time.");
    this.groups = groups;
    this.dispatchEvent(new Event("places"));
  }

  show(children, text) {
    by("hear").hidden = false;
    put(by("hear-text"), text);
    by("hear-list").hidden = !children.length;
    by("hear-list").replaceChildren(...children);
    this.list.refresh();
    this.mark();
  }

  group({title, entries}) {
    const list = make("ol", {className: "heard-of"}, ...entries.map((entry) => this.entry(entry)));
    return title ? [make("h4", {text: title}), list] : [list];
  }

  entry({number, css, head, places, total = places.length}) {
    const about = number === null ? head : `finding ${number}`;
    const box = make("span", {className: "at", role: "group", "aria-label": `Places of ${about}`}, ...places.slice(0, kShown).map((place) => this.button(place, about)));
    if (places.length > kShown) {
      const more = make("button", {type: "button", className: "small more", tabindex: "-1", text: `${places.length - kShown} more`, "aria-label": `${places.length - kShown} more places of ${about}`});
      more.addEventListener("click", () => {
        const rest = places.slice(kShown).map((place) => this.button(place, about));
        more.replaceWith(...rest);
        this.list.refresh();
        this.mark();
        rest[0].focus();
      });
      box.append(more);
    }
    if (total > places.length) box.append(make("span", {className: "soft", text: `${places.length} of ${total} places: a sheet keeps no more than these`}));
    return make("li", {}, make("span", {className: `number ${css}`, text: number ?? "\u2013"}), make("span", {className: "head", text: head}), box);
  }

  button({text, about, request}, of) {
    const button = make("button", {type: "button", className: "small place", tabindex: "-1", text, title: about || undefined, "aria-label": `${text}, ${of}`, "aria-pressed": "false"});
    button.addEventListener("click", () => {
      if (this.player.state !== "idle" && this.player.request.key === request.key) this.player.stop();
      else this.player.play(request);
    });
    this.buttons.set(request.key, button);
    return button;
  }

  /** The place that plays. */
  mark() {
    const on = this.player.state === "idle" ? undefined : this.buttons.get(this.player.request?.key);
    if (this.on !== on) this.on?.setAttribute("aria-pressed", "false");
    on?.setAttribute("aria-pressed", "true");
    this.on = on;
  }

  focus() {
    (by("hear-list").querySelector("button[tabindex='0']") || by("hear-list").querySelector("button"))?.focus();
  }
}
