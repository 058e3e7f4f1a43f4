// Whose turn it is in a listening pass: the questions that are asked, and where somebody is among them. It shows nothing.

export class Turns {
  constructor() {
    this.leave();
  }

  leave() {
    // `state`: as the program told it last.
    Object.assign(this, {state: null, asked: [], at: 0, cameBack: false, anew: false, startPass: 0});
  }

  /** The pass goes on, or, with `again`, another one begins although there is one on this mix. */
  prepare(again) {
    this.anew = again;
    this.startPass = this.state.pass;
  }

  /** `asked`: ids, in their order. */
  begin(asked) {
    Object.assign(this, {asked, at: 0, cameBack: false});
  }

  /** Whether the pass that is meant has an answer already. */
  get begun() {
    return this.state.pass > 0 && (!this.anew || this.state.pass !== this.startPass);
  }

  /** The question whose turn it is; none behind the last, or where the plan asks it no more. */
  get now() {
    return this.state?.questions.find((one) => one.id === this.asked[this.at]);
  }

  /** Past what holds in this pass, unless somebody came back to it. Whether there is any left. */
  settle() {
    while (this.at < this.asked.length && (!this.now || (!this.cameBack && this.begun && this.now.holds))) ++this.at;
    return this.at < this.asked.length;
  }

  /** Past the one that was answered. */
  on() {
    this.cameBack = false;
    ++this.at;
  }

  /** To the one before; whether there is one. */
  back() {
    if (this.at === 0) return false;
    --this.at;
    this.cameBack = true;
    return true;
  }
}
