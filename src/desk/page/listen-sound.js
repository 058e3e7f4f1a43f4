// What is heard of a question: its places, each in the way that it is to be heard, and for how long they sounded.
import {placesOf, placeWords, wayOf} from "./listen-words.js";
import {say} from "./say.js";

export class PassSound {
  /** `told`: {check(): what the pass is about, asked(): {question, part, mix, belowHz} while one is asked, changed()}. */
  constructor(player, told) {
    Object.assign(this, {player, told, played: new Map()});
    this.turnTo();
    player?.addEventListener("heard", (event) => this.heard(event.detail));
    player?.addEventListener("change", () => {
      this.queue();
      told.changed();
    });
  }

  /** Another question, or none: from its first place on. */
  turnTo() {
    this.at = 0;
  }

  /** Another measuring: what sounded before counts no more. */
  forget() {
    this.played = new Map();
  }

  /** Seconds that sounded of a question. */
  seconds(id) {
    return this.played.get(id) || 0;
  }

  key(at = this.at) {
    return `listen ${this.told.check()} ${this.told.asked().question.id} ${at}`;
  }

  /** Whether this question's place `at` sounds; any of them where none is named. */
  plays(at) {
    const {player} = this;
    if (!player || player.state === "idle" || !this.told.asked()) return false;
    const key = String(player.request?.key);
    return at === undefined ? key.startsWith(this.key("")) : key === this.key(at);
  }

  request() {
    const {question, part, mix, belowHz} = this.told.asked(), place = placesOf(question)[this.at];
    if (!place) return null;
    const {before_s: ahead = 0, after_s: behind = 0} = this.player.known;
    return {source: {check: this.told.check(), part}, name: mix.split("/").pop(), place: placeWords(place), from_s: Math.max(0, place.start_s - ahead),
      to_s: place.end_s === undefined ? Infinity : place.end_s + behind, way: wayOf(question.heard, belowHz), key: this.key()};
  }

  /** Lays the place ready in the bar, so that its “Play”, the question's and the key all play the same. */
  queue() {
    if (!this.player || !this.told.asked() || this.player.request?.key === this.key()) return;
    const request = this.request();
    if (request) this.player.offer(request);
  }

  /** Plays a place; the one that plays stops. */
  play(at = this.at) {
    const {player} = this;
    if (!player) return say("This program cannot play sound.");
    if (this.plays(at)) return player.stop();
    this.at = at;
    // In the way that was chosen in the bar, where it is this place that lies ready there.
    if (player.request?.key === this.key()) return player.toggle();
    const request = this.request();
    if (request) player.play(request);
  }

  quiet() {
    if (this.plays()) this.player.stop();
  }

  /** What has sounded: it stands with the answer. */
  heard({request, seconds}) {
    const [kind, check, id] = String(request?.key).split(" ");
    if (kind !== "listen" || check !== this.told.check()) return;
    this.played.set(id, this.seconds(id) + seconds);
    this.told.changed();
  }
}
