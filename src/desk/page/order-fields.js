// What an order asks for, as fields and as a list of files; each change is one edit of its text.
import {make, many, plain, put} from "./words.js";

const kHead = [
  ["title", "Title", "of the song; it stands in names, tags and on the sheet"], ["artist", "Artist", ""], ["client", "For whom", "empty: not said"],
  ["name", "How files are named", "fields in braces: {artist} {title} {version} {role} {rate} {bits} {channels} {album} {client} {isrc} {track}; empty: names are free"],
];

// What of a format can be chosen here; whatever else is expected stays as it is.
const kFormat = [
  ["sample_rate", "Sample rate", ["44100", "48000", "88200", "96000", "192000"], " Hz"], ["bit_depth", "Bit depth", ["16", "24", "32"], " bits"],
  ["container", "Kind of file", ["WAV", "AIFF", "FLAC", "MP3"], ""],
];

const valueIn = (expect, key) => expect.find((one) => one.startsWith(`${key}=`))?.slice(key.length + 1) ?? "";

/** What is expected with another value of this one; null where nothing is left. */
function expectWith(expect, key, value) {
  const all = expect.filter((one) => !one.startsWith(`${key}=`));
  if (value) all.push(`${key}=${value}`);
  return all.length ? all : null;
}

export class OrderFields {
  /** `told`: {edit(edit), sets()}: an edit as api/order takes it; the rule sets that there are, [{name, title}]. */
  constructor(box, told) {
    this.told = told;
    this.open = new Set();
    this.inputs = {};
    const head = kHead.map(([key, words, about]) => {
      const input = this.field(`order ${key}`, (value) => told.edit({set: key, to: value || (key === "title" || key === "artist" ? "" : null)}));
      input.id = `ordered-${key}`;
      if (about) input.setAttribute("aria-describedby", `ordered-${key}-about`);
      this.inputs[key] = input;
      return make("div", {className: "said"}, make("label", {for: `ordered-${key}`, text: words}), input, ...(about ? [make("p", {className: "soft", id: `ordered-${key}-about`, text: about})] : []));
    });
    this.rules = make("select", {id: "ordered-rules", "data-field": "order rules"});
    this.rules.addEventListener("change", () => told.edit({set: "rules", to: JSON.parse(this.rules.value)}));
    this.format = make("div", {className: "formats"});
    this.extra = make("input", {type: "checkbox", id: "ordered-extra", "data-field": "order extra"});
    this.extra.addEventListener("change", () => told.edit({set: "allow_extra", to: this.extra.checked}));
    this.count = make("h4", {id: "ordered-items"});
    this.list = make("ol", {className: "ordered", "aria-labelledby": "ordered-items"});
    this.more = make("p", {className: "soft"});
    this.add = make("button", {type: "button", className: "small", text: "Ask for one more file"});
    this.add.addEventListener("click", () => {
      this.open.add(this.order.items.length);
      this.wish = `item ${this.order.items.length} file`;
      told.edit({add_item: {version: this.freeVersion(), file: "*.wav"}});
    });
    box.append(this.count, this.list, make("div", {className: "line"}, this.add), ...head, make("div", {className: "said"}, make("label", {for: "ordered-rules", text: "Rules, unless a file has its own"}), this.rules), this.format,
      make("div", {className: "line"}, this.extra, make("label", {for: "ordered-extra", text: "Sound that is not asked for may lie there, too"})), this.more);
  }

  field(key, act) {
    const input = make("input", {type: "text", autocomplete: "off", spellcheck: "false", "data-field": key});
    input.addEventListener("change", () => act(input.value.trim()));
    return input;
  }

  freeVersion() {
    const there = new Set(this.order.items.map((item) => item.version));
    return this.versions.find((version) => !there.has(version)) ?? "alternate";
  }

  /** `told`: as api/order answers, with an order. What somebody is typing into a field stays in it, unless all is wanted `anew`. */
  take({order, versions}, {anew = false} = {}) {
    Object.assign(this, {order, versions});
    const active = document.activeElement, typing = !anew && this.list.contains(active) && active.type === "text" ? {field: active.dataset.field, value: active.value, from: active.selectionStart, to: active.selectionEnd} : null;
    for (const [key] of kHead) if (this.inputs[key].value !== order[key] && (anew || this.inputs[key] !== active)) this.inputs[key].value = order[key];
    this.choices(this.rules, order.rules, [`not stated: ${this.told.sets().find((set) => set.name === "streaming-music")?.title ?? "streaming-music"}; stems and premasters have their own`, null]);
    this.extra.checked = order.allow_extra;
    const at = document.activeElement?.dataset?.field;
    const inFormat = this.format.contains(document.activeElement);
    this.format.replaceChildren(...this.formats("order", order.expect, "not stated", (to) => this.told.edit({set: "expect", to})));
    if (inFormat) this.format.querySelector(`[data-field="${CSS.escape(at)}"]`)?.focus();
    put(this.count, `What was asked for: ${many(order.items.length, "file or pattern", "files or patterns")}`);
    const wanted = this.wish ?? document.activeElement?.dataset?.field;
    const held = this.wish !== undefined || this.list.contains(document.activeElement);
    this.list.replaceChildren(...order.items.map((item, i) => this.row(item, i)));
    const rest = [order.album_order.length ? `Running order: ${order.album_order.join(", ")}.` : "",
      order.tags?.require.length ? `Tags that must be there: ${order.tags.require.join(", ")}.` : "", order.tags?.forbid.length ? `Tags that must not: ${order.tags.forbid.join(", ")}.` : "",
      order.tags?.match ? "Tags must say what the order says." : "", order.previous ? `The last delivery: ${order.previous}.` : "", `The files lie in ${order.folder === "." ? "the order’s own folder" : order.folder}.`,
      order.waivers ? `${many(order.waivers, "finding is", "findings are")} waived.` : ""].filter(Boolean);
    put(this.more, `${rest.join(" ")} These are changed in the text.`);
    if (held && wanted) (this.list.querySelector(`[data-field="${CSS.escape(wanted)}"]`) ?? this.add).focus();
    if (typing && typing.field === wanted && document.activeElement.dataset.field === wanted) {
      document.activeElement.value = typing.value;
      document.activeElement.setSelectionRange(typing.from, typing.to);
    }
    this.wish = undefined;
  }

  /** Fills a menu of rule sets. `without`: [words, value] of what holds where none is named. */
  choices(select, names, without) {
    const option = (text, value) => make("option", {value: JSON.stringify(value), text});
    const sets = this.told.sets(), known = names.length === 1 && sets.some((set) => set.name === names[0]);
    select.replaceChildren(option(...without), ...sets.map((set) => option(set.title || set.name, [set.name])), ...(names.length && !known ? [option(names.join(" and "), names)] : []));
    select.value = JSON.stringify(names.length ? names : null);
  }

  /** A menu for each part of a format. `of`: whose; `expect`: what is expected by now. */
  formats(of, expect, without, change) {
    return kFormat.map(([key, title, choices, unit]) => {
      const now = valueIn(expect, key), id = `ordered-${of.replace(" ", "-")}-${key}`;
      const select = make("select", {id, "data-field": `${of} ${key}`}, make("option", {value: "", text: without}), ...[...new Set([...choices, ...(now ? [now] : [])])].map((value) => make("option", {value, text: `${value}${unit}`})));
      select.value = now;
      select.addEventListener("change", () => change(expectWith(expect, key, select.value)));
      return make("div", {className: "said"}, make("label", {for: id, text: title}), select);
    });
  }

  asks(item) {
    return [...(item.expected.length ? [`Wanted: ${item.expected.join(", ")}`] : []), ...item.judged_as.map((name) => {
      const set = this.told.known?.()[name];
      return set ? [set.title, ...set.asks].join(". ") : `by the rules in ${name}`;
    })].join("; ");
  }

  row(item, i) {
    const title = make("summary", {}, make("b", {text: item.name}), " ", make("span", {className: "name", text: item.file}), item.required ? "" : make("span", {className: "soft", text: " may be missing"}));
    title.dataset.field = `item ${i}`;
    const box = make("details", {}, title, make("p", {className: "soft", text: this.asks(item)}));
    box.open = this.open.has(i);
    if (box.open) box.append(this.fields(item, i));
    box.addEventListener("toggle", () => {
      if (box.open === this.open.has(i)) return;
      if (box.open) this.open.add(i), box.append(this.fields(item, i));
      else this.open.delete(i), box.lastChild.remove();
    });
    return make("li", {}, box);
  }

  fields(item, i) {
    const of = plain(item.name), key = (name) => `item ${i} ${name}`, id = (name) => `ordered-item-${i}-${name}`;
    const set = (name, to) => this.told.edit({item: i, set: name, to});
    const labelled = (name, words, control) => {
      control.id = id(name);
      return make("div", {className: "said"}, make("label", {for: id(name), text: words}), control);
    };
    const text = (name, words, value, empty = null) => {
      const input = this.field(key(name), (now) => set(name, now || empty));
      input.value = value;
      return labelled(name, words, input);
    };
    const version = make("select", {"data-field": key("version")}, ...this.versions.map((one) => make("option", {value: one, text: one})));
    version.value = item.version;
    version.addEventListener("change", () => set("version", version.value));
    const rules = make("select", {"data-field": key("rules")});
    this.choices(rules, item.rules, ["none of its own: as the order, or as stems and premasters have it", null]);
    rules.addEventListener("change", () => set("rules", JSON.parse(rules.value)));
    const required = make("input", {type: "checkbox", id: id("required"), "data-field": key("required")});
    required.checked = item.required;
    required.addEventListener("change", () => set("required", required.checked));
    const remove = make("button", {type: "button", className: "small", text: "Ask for it no longer", "aria-label": `Ask no longer for ${of}`});
    remove.addEventListener("click", () => {
      // Those behind it move up.
      this.open = new Set([...this.open].filter((one) => one !== i).map((one) => (one > i ? one - 1 : one)));
      this.wish = `item ${Math.max(0, i - 1)}`;
      this.told.edit({remove_item: i});
    });
    return make("div", {className: "item-of"}, labelled("version", "What it is", version), text("file", "File, or a pattern with * and ?", item.file, ""), text("role", "Part, of a stem", item.role),
      text("title", "Title, where it is another song", item.title), labelled("rules", "Rules", rules), make("div", {className: "formats"}, ...this.formats(`item ${i}`, item.expect, "as the order", (to) => set("expect", to))), make("div", {className: "line"}, required, make("label", {for: id("required"), text: "Must be there"}), remove));
  }
}
