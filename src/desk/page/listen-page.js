// What one sees of the listening pass: before it, a question, the end. It only shows; what is done is done elsewhere.
import {rove} from "./rove.js";
import {absentWords, asksOfEars, greeting, howWords, lastWords, levelWords, openWords, passOf, placesOf, placeWords, staleWords, standing, whyOpen} from "./listen-words.js";
import {make, many, plain} from "./words.js";

const kBadges = {fail: "fail", warn: "warn", pass: "pass", "not measured": "fail"};

export function button(text, act, {className = "", key, ...attributes} = {}) {
  const made = make("button", {type: "button", className, "aria-keyshortcuts": key, ...attributes}, text, ...(key ? [" ", make("kbd", {text: key.toUpperCase()})] : []));
  made.addEventListener("click", act);
  return made;
}

const lines = (texts, className = "") => texts.map((text) => make("p", {className, text}));
const titled = (title, ...children) => make("section", {className: "part"}, make("h4", {text: title}), ...children);
const heading = (text) => make("h3", {text, tabindex: "-1", className: "head"});

/** What the mix is meant to do: in view from the first question to the last. */
export function intent({feeling, approach}) {
  const row = (word, text) => make("div", {}, make("dt", {text: word}), make("dd", {className: text ? "" : "soft"}, ...(text || "not stated").split("\n").flatMap((line, i) => [...(i ? [make("br")] : []), plain(line)])));
  return make("aside", {className: "intent", "aria-label": "What the mix is meant to do"}, make("dl", {}, row("Feeling", feeling), row("Approach", approach)));
}

const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** Nothing is measured yet, or it is being measured. `check`: the one that runs. */
export function toMeasure({text, check, acts}) {
  const percent = Math.floor(100 * (check?.fraction || 0));
  return [heading("Listening pass"), make("p", {className: "about", text: sentence(text)}),
    ...(check ? [make("div", {className: "working"}, make("progress", {max: "1", value: String(check.fraction || 0), "aria-label": "Measuring"}), make("p", {className: "soft", text: check.state === "waiting" ? "Waits for the check before it." : `${[check.current, `${percent} %`].filter(Boolean).join(", ")}`}))] : []),
    make("div", {className: "line"}, ...acts)];
}

/** What of the answers so far does not count any more, and what is asked therefore. Nothing before the first pass. */
function asksAgain(state, again) {
  const open = state.questions.filter((one) => again || !one.holds), stale = open.filter((one) => one.last && ["mix changed since", "question changed since"].includes(one.open));
  if (!open.some((one) => one.last)) return [];
  return [titled(again ? "What is asked again" : `What is asked, ${many(open.length, "question", "questions")} of ${state.questions.length}`,
    ...(stale.length ? [make("p", {text: `${many(stale.length, "answer is", "answers are")} no longer good: ${staleWords(stale)}`})] : []),
    make("ol", {className: "again"}, ...open.map((one) => make("li", {}, plain(one.text), make("span", {className: "soft", text: `${stale.includes(one) ? "" : ` ${whyOpen(one)}`}${one.last ? ` Last time: ${lastWords(one.last)}` : ""}`})))))];
}

/** `told`: {begin({by, loaded}), plan()}. */
export function before(state, {again, by: initials, fresh}, told) {
  const field = make("input", {type: "text", id: "listen-by", maxlength: "40", autocomplete: "off", "aria-describedby": "listen-by-about"});
  field.value = initials;
  const about = make("p", {className: "soft", id: "listen-by-about", text: "They stand with each answer."});
  const yesNo = (name, question, act) => {
    const choices = ["yes", "no"].map((word) => {
      const input = make("input", {type: "radio", name, value: word, id: `${name}-${word}`});
      input.addEventListener("change", () => act(word === "yes"));
      return [input, make("label", {for: `${name}-${word}`, text: word})];
    });
    return make("fieldset", {className: "ask"}, make("legend", {text: question}), make("span", {className: "line"}, ...choices.flat()));
  };
  const asks = asksOfEars(state, again) && !fresh;
  let loaded = null, quietFirst = null;
  const rest = make("div", {hidden: ""}, make("p", {text: "Loaded ears hear level and brilliance wrongly, and need rest more than another hour. The very quiet questions ask least of them."}), yesNo("quiet-first", "Begin with those?", (yes) => (quietFirst = yes)));
  const ears = asks ? [yesNo("loaded", "Have you listened for more than an hour today, or to anything loud?", (yes) => {
    loaded = yes;
    rest.hidden = !yes;
  }), rest] : [];
  const begin = button(state.pass > 0 && !again ? "Go on" : "Begin", () => {
    const by = field.value.trim();
    const missing = !by ? ["Your initials are wanted.", field] : asks && loaded === null ? ["Say first whether your ears are loaded.", document.getElementById("loaded-yes")] : loaded && quietFirst === null ? ["Say first whether to begin with the very quiet ones.", document.getElementById("quiet-first-yes")] : null;
    if (missing) return told.missing(...missing);
    told.begin({by, quietFirst: Boolean(loaded && quietFirst)});
  }, {className: "main"});
  field.addEventListener("keydown", (event) => event.key === "Enter" && begin.click());
  return [
    heading("Before the first question"), ...lines(greeting(state, again)),
    ...(state.moves.length ? [titled(`What changed since the bounce of pass ${state.before_pass}`, make("ul", {className: "moves"}, ...state.moves.map((one) => make("li", {}, make("b", {text: one.section || "The whole song"}), `: ${one.words.map(plain).join("; ")}`))))] : []),
    ...asksAgain(state, again),
    ...(state.unasked.length ? [titled("No question belongs to these; keep them in mind", make("ul", {}, ...state.unasked.map((text) => make("li", {text}))))] : []),
    titled("Caution", ...state.cautions.map((one) => make("p", {text: `${one.text}${one.source ? ` [${one.source}]` : ""}`})), make("p", {text: "Turn down before you press play and come up from there; rest your ears for some minutes of each hour. [common practice, no source]"})),
    titled("You", make("label", {for: "listen-by", text: "Your initials"}), field, about, ...ears),
    make("p", {className: "fail", id: "listen-missing"}), make("div", {className: "line"}, begin),
  ];
}

/** Draws a page of fields anew: what was typed and chosen stays, and so does the keyboard where it still can. */
export function redrawn(page, draw) {
  const fields = [...page.querySelectorAll("input")], held = page.contains(document.activeElement) ? document.activeElement : null;
  draw();
  for (const was of fields) {
    const now = document.getElementById(was.id);
    if (!now) continue;
    if (was.type !== "radio") now.value = was.value;
    else if (was.checked) {
      now.checked = true;
      now.dispatchEvent(new Event("change"));
    }
  }
  if (held) ((held.id && document.getElementById(held.id)) || page.querySelector(held.matches("button") ? "button.main" : ".head") || page.querySelector(".head"))?.focus();
}

/** The pass holds already. */
export const nothing = (state, told) => [heading("Nothing to ask"), make("p", {text: `${standing(state)}. It stands until the mix changes.`}), make("div", {className: "line"}, button("Listen again, as another pass", told.again))];

/** One question. `at`: {number, of}; `about`: {roles: of the plan's stems, quietDb, belowHz: as howWords() has them; db: of the bar}; `told`: {play(i), answer(word), back(), leaveOut()}. The
 *  answers are keys, too. */
export function question(one, at, about, told) {
  const list = make("ul", {className: "places", "aria-label": "Places to listen at"}, ...placesOf(one).map((place, i) => {
    const made = button(`Play ${placeWords(place)}`, () => told.play(i), {className: "entry", tabindex: "-1", "aria-pressed": "false"});
    made.dataset.place = String(i);
    return make("li", {}, made);
  }));
  rove(list, "button").refresh();
  const absent = absentWords(one.id, about.roles);
  const evidence = [
    ...one.moved.map((text) => make("li", {}, make("b", {text: "Moved: "}), plain(text))), ...one.numbers.map((text) => make("li", {}, make("b", {text: "Measured: "}), plain(text))),
    ...one.findings.map((finding) => make("li", {}, make("span", {className: `badge ${kBadges[finding.status] ?? ""}`, text: finding.status}), " ", plain(finding.headline), ...(finding.why ? [make("span", {className: "soft", text: ` ${finding.why}`})] : []), ...(finding.remedy ? [make("span", {className: "soft", text: ` ${finding.remedy}`})] : []))),
  ];
  return [
    make("div", {className: "count"}, make("p", {className: "soft", id: "listen-count", text: `Question ${at.number} of ${at.of}`}), make("progress", {max: String(at.of), value: String(at.number - 1), "aria-labelledby": "listen-count"})),
    heading(one.text),
    make("p", {className: "how"}, make("b", {text: "How: "}), howWords(one, about)),
    ...(absent ? [make("div", {className: "line"}, make("p", {text: absent}), button("Not in this song: take the question out of the plan", () => told.leaveOut(), {className: "small"}))] : []),
    ...lines([[one.section && `Section: ${one.section}`, one.stem && `Stem: ${one.stem}`].filter(Boolean).join("; ")].filter(Boolean), "soft"),
    make("p", {className: "why", text: `${whyOpen(one)}${one.last && (one.last.answer !== "holds" || one.open === "mix changed since") ? ` Last time: ${lastWords(one.last)}${one.last.mix ? `, on “${plain(one.last.mix)}”` : ""}` : ""}`}),
    make("section", {className: "evidence", "aria-label": "What was measured"}, evidence.length ? make("ul", {}, ...evidence) : make("p", {className: "soft", text: "Nothing that was measured belongs to this question."})),
    make("div", {className: "hearing"}, list, ...lines([levelWords(one.heard, about.db)].filter(Boolean), "soft")),
    make("div", {className: "answers line", id: "listen-answers", role: "group", "aria-label": "Your answer", "aria-describedby": "listen-played"},
      make("p", {id: "listen-played", className: "soft"}),
      button("Play", () => told.play(), {key: "p", id: "listen-play"}), button("It holds", () => told.answer("holds"), {className: "main", key: "h", "aria-describedby": "listen-played"}), button("It wants a tweak", () => told.answer("tweak"), {key: "t", "aria-describedby": "listen-played"}),
      button("Skip", () => told.answer("skip"), {key: "s"}), button("Back", () => told.back(), {key: "b"})),
    make("div", {className: "note", id: "listen-note", hidden: ""}),
  ];
}

/** What is to be changed, in one line. `told`: {keep(text), cancel(), typed(text)}. */
export function note(text, told) {
  const field = make("textarea", {rows: "2", id: "listen-tweak", maxlength: "1000"});
  field.value = text;
  const keep = () => {
    const said = field.value.replace(/\s*\n\s*/g, " ").trim();
    if (said) return told.keep(said);
    fault.textContent = "A tweak needs a note; nothing was kept.";
    field.focus();
  };
  const fault = make("p", {className: "fail", role: "alert"});
  field.addEventListener("input", () => told.typed(field.value));
  field.addEventListener("keydown", (event) => {
    if (event.isComposing) return;
    if (event.key === "Enter" && !event.shiftKey) keep();
    else if (event.key === "Escape") told.cancel();
    else return;
    event.preventDefault();
    event.stopPropagation();
  });
  return [make("label", {for: "listen-tweak", text: "What is to be changed? One line"}), field, fault, make("div", {className: "line"}, button("Keep it (Enter)", keep), button("Leave it (Esc)", () => told.cancel()))];
}

/** The end, or where it was left: what is open, and why. */
export function end(state, {again, begun}, told) {
  const pass = passOf(state, again && !begun), complete = begun && state.complete;
  const open = state.questions.filter((one) => !one.holds);
  const unheard = state.questions.filter(({last}) => last?.pass === pass && last.answer !== "skip" && last.played_s === 0).length;
  return [
    heading(complete ? `Pass ${pass} is complete` : begun ? `Pass ${pass} stays open` : "Nothing was answered"),
    make("p", {text: complete ? `${standing(state)}. It stands until the mix changes.` : begun ? `${standing(state)}. What was answered is kept.` : "Nothing was written; begin again whenever you like."}),
    ...(unheard ? [make("p", {className: "warn", text: `${many(unheard, "answer was", "answers were")} given without a place being played on this page. That stands with ${unheard === 1 ? "it" : "them"} in the passes file.`})] : []),
    ...(open.length ? [make("ul", {className: "open"}, ...open.map((one) => make("li", {}, make("b", {text: one.text}), make("span", {text: ` ${openWords(one)} `}), button("Ask it", () => told.ask(one.id), {className: "small", "aria-label": `Ask it: ${plain(one.text)}`}))))] : []),
    make("div", {className: "line"}, ...(complete ? [button("Listen again, as another pass", told.again)] : [button("Go through what is open", told.on, {className: "main"})]), button("Back to the plan", told.plan)),
  ];
}

/** An answer that was not kept, or that nobody could give any more. */
export function refused(title, text, typed, acts) {
  return [heading(title), make("p", {className: "fail", text: sentence(text)}), ...(typed ? [make("p", {}, "What you wrote: ", make("b", {text: typed}))] : []), make("div", {className: "line"}, ...acts)];
}
