// Which of the views is shown: it stands in the address behind the #, so that it survives reloading and going back.
import {keep, kept} from "./kept.js";
import {by} from "./words.js";

export const kViews = ["files", "two", "song", "delivery"];

/** The view and what it is asked for: "#/song/a%20b.toml/sheet" is ["song", "a b.toml", "sheet"]. */
export function parse(hash) {
  if (!hash.startsWith("#/")) return [kViews[0]];
  try {
    const parts = hash.slice(2).split("/").map(decodeURIComponent);
    return kViews.includes(parts[0]) ? parts : [kViews[0]];
  } catch {
    return [kViews[0]];
  }
}

export const hashOf = (...parts) => `#/${parts.map(encodeURIComponent).join("/")}`;

export class Route {
  /** `shown` is called with the parts, and whether the view is another one than before. */
  constructor(shown) {
    this.shown = shown;
    this.parts = [];
    // A link of the navigation leads back to what was open there, after a reload too.
    for (const link of by("views").querySelectorAll("a")) {
      const [view] = parse(link.hash), hash = kept(`at ${view}`);
      if (typeof hash === "string" && parse(hash)[0] === view) link.hash = hash;
    }
    addEventListener("hashchange", () => this.take(true));
    // The links past the header lead to places, not to views.
    for (const link of document.querySelectorAll("a.skip")) {
      link.addEventListener("click", (event) => {
        event.preventDefault();
        const to = by(link.hash.slice(1));
        to.focus();
        to.scrollIntoView({block: "nearest"});
      });
    }
  }

  get view() {
    return this.parts[0];
  }

  /** Reads the address. `focus`: the keyboard goes to the heading of another view. */
  take(focus) {
    // A place on the page is no view.
    if (this.parts.length && location.hash && !location.hash.startsWith("#/")) return;
    const parts = parse(location.hash), other = parts[0] !== this.parts[0];
    if (parts.join("\n") === this.parts.join("\n")) return;
    this.parts = parts;
    document.body.dataset.view = parts[0];
    for (const link of by("views").querySelectorAll("a")) {
      if (parse(link.hash)[0] !== parts[0]) {
        link.removeAttribute("aria-current");
        continue;
      }
      link.setAttribute("aria-current", "page");
      link.hash = hashOf(...parts);
      keep(`at ${parts[0]}`, link.hash);
    }
    for (const one of document.querySelectorAll("[data-of]")) one.hidden = !one.dataset.of.split(" ").includes(parts[0]);
    this.shown(parts, other);
    if (focus && other) this.focus();
  }

  focus() {
    const heading = document.querySelector(`[data-heading=${this.view}]`);
    heading?.focus({preventScroll: true});
    scrollTo(0, 0);
  }

  /** Another place, as a step that can be gone back, or in place of this one. */
  go(parts, {replace = false} = {}) {
    const hash = hashOf(...parts);
    if (replace) {
      history.replaceState(null, "", hash);
      this.take(false);
    } else {
      location.hash = hash;
    }
  }
}
