// The line to the program: its events, and what happens when they stop.
import {tell, unsay} from "./say.js";

const kFirstWait = 1000, kLongestWait = 10000, kAsk = 2000, kAskRarely = 15000;

export class Link {
  /** `told`: {check(data), removed(data), folder(data), look(), fresh(), busy()}; `look` is called when the
   *  folder may have changed, `fresh` when everything may, which fails where the
   *  program does not answer; `busy` says whether a check is on. */
  constructor(told) {
    this.told = told;
    this.query = "path=";
    this.wait = kFirstWait;
    this.stream = null;
    this.timer = null;
    // A hidden page keeps no line open, since a browser has only six for all pages of one program; it asks now and then.
    document.addEventListener("visibilitychange", () => this.start());
    addEventListener("pagehide", () => this.close());
    addEventListener("pageshow", (event) => event.persisted && this.start());
  }

  /** The folder whose changes are wanted. */
  watch(query) {
    if (this.query === query) return;
    this.query = query;
    if (this.stream) this.open(() => this.told.look());
  }

  close() {
    clearTimeout(this.timer);
    if (this.stream) this.stream.close();
    this.stream = null;
  }

  start() {
    this.close();
    if (document.hidden) return this.later(this.pause(), () => this.poll());
    return this.open();
  }

  /** Until a page that nobody sees asks again. */
  pause() {
    return this.told.busy() ? kAsk : kAskRarely;
  }

  later(wait, what) {
    clearTimeout(this.timer);
    this.timer = setTimeout(what, wait);
  }

  /** `then` is called once the line stands: what happened while nobody listened. */
  open(then = () => this.told.fresh().catch(() => {})) {
    this.close();
    const stream = new EventSource(`api/events?${this.query}`);
    this.stream = stream;
    const read = (name) => (event) => {
      try {
        this.told[name](JSON.parse(event.data));
      } catch {
        // Half an event: the next one says it all.
      }
    };
    stream.addEventListener("check", read("check"));
    stream.addEventListener("removed", read("removed"));
    stream.addEventListener("folder", read("folder"));
    stream.onopen = () => {
      this.here();
      then();
    };
    stream.onerror = () => {
      if (this.stream !== stream) return;
      this.close();
      this.later(this.wait, () => this.poll());
    };
  }

  here() {
    this.wait = kFirstWait;
    unsay("gone");
  }

  /** Without events: asks, and tries the events again. */
  async poll() {
    try {
      await this.told.fresh();
    } catch (error) {
      tell("gone", `${error.message} This page keeps trying.`, {close: false});
      this.wait = Math.min(kLongestWait, this.wait * 2);
      this.later(this.wait, () => this.poll());
      return;
    }
    this.here();
    if (document.hidden) return void this.later(this.pause(), () => this.poll());
    // The program is there; where it has no line left, this asks in its place.
    this.wait = kAsk;
    this.open(() => this.told.look());
  }
}
