/**
 * <review-look>: a review on a phone or a desk. The play from every side, as often as wanted, while a clock runs; then
 * how the review ends, and why.
 *
 * The server owns the clock and the answers; this element shows, measures and sends. Its markup is the server's: parts
 * are found by their `data-part`, and `data-show` says in which views a part is there (ready, look, why). Whoever loads
 * the page anew goes on with the time that is left.
 */

import { Clips } from "../lib/look-clips.js";
import { freshWord } from "../lib/look-run.js";
import { pause, Server, soon } from "../lib/look-server.js";
import { LEFT_OUT, stopped, TAKEN } from "../lib/look-words.js";
import { Outbox } from "../lib/outbox.js";
import { storeOf } from "../lib/outbox-store.js";
import { figure, goneAt, leftAt, reported, spoken } from "../lib/review-clock.js";
import { LookWhy } from "./look-why.js";
import { ReviewPlay } from "./review-play.js";

/** @typedef {import("../lib/outbox.js").Reply} Reply */
/** @typedef {{n: number, number: number, topic: string, warning: boolean, begun: boolean, frames: number, angles: {label: string, clip: string, frames: number, starts: number}[]}} Ahead */
/** @typedef {{nonce: string | null, left: number, called: string, word: string, find: string, outcomes: {id: string, word: string, means: string}[]}} Opened */

const ECHOES = 3;
const SOON_MS = 2000;
const AGAIN_MS = 3000;
const MOST_VIEWS = 100;
const AWAY = "The network is away. Nothing has begun; press again when it is back.";
const UNTIMED = "The network was away for too long to time it. It does not count; another one comes.";

class ReviewLook extends HTMLElement {
  #stamp = "";
  /** @type {Ahead | undefined} */
  #look;
  /** @type {Opened | undefined} the look that is open */
  #open;
  #openedAt = 0;
  #deadline = 0;
  #rate = { num: 30, den: 1 };
  /** @type {string | null} the outcome that is chosen */
  #outcome = null;
  /** @type {{angle: number, frame: number} | null} the picture that was named */
  #named = null;

  async connectedCallback() {
    const at = this.dataset.at ?? "";
    const away = (/** @type {boolean} */ is) => {
      this.#part("network").hidden = !is;
    };
    this.clips = new Clips(away);
    this.server = new Server(at, this.dataset.token ?? "", away);
    this.#listen();
    const { server } = this;
    const store = await storeOf(`${this.dataset.person}:${at}`);
    this.outbox = new Outbox(store, ({ path, body }) => server.once(path, body, "idempotency"));
    addEventListener("online", () => this.outbox?.flush());
    setInterval(() => this.outbox?.flush(), AGAIN_MS);
    await soon(this.outbox.begin(), SOON_MS);
    for (let k = 0; k <= ECHOES && (await this.#echo()); k += 1);
    await this.#next("");
  }

  #listen() {
    this.#button("open").addEventListener("click", () => this.#begin());
    this.#button("skip").addEventListener("click", () => this.#skip());
    this.#button("this").addEventListener("click", () => this.#name());
    this.#button("send").addEventListener("click", () => this.#decide());
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden && this.#open) this.#resume();
    });
  }

  /** @param {string} selector @returns {HTMLElement[]} */
  #all(selector) {
    return [...this.querySelectorAll(selector)].map((each) => /** @type {HTMLElement} */ (each));
  }

  /** @param {string} name @returns {HTMLElement} */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  /** @returns {ReviewPlay} */
  get #play() {
    return /** @type {ReviewPlay} */ (this.querySelector("review-play"));
  }

  /** @param {string} name @returns {HTMLButtonElement} */
  #button(name) {
    return /** @type {HTMLButtonElement} */ (this.#part(name));
  }

  /** Show a part with these words, or hide it where there are none. @param {string} name @param {string} text */
  #say(name, text) {
    this.#part(name).hidden = !text;
    this.#part(name).textContent = text;
  }

  /** @param {string} view */
  #show(view) {
    this.dataset.view = view;
    for (const part of this.#all("[data-show]")) part.hidden = !part.dataset.show?.split(" ").includes(view);
    scrollTo(0, 0);
  }

  /** @param {string} name @returns {HTMLButtonElement} */
  #row(name) {
    const pattern = /** @type {HTMLTemplateElement} */ (this.querySelector(`template[data-row="${name}"]`));
    const copy = /** @type {DocumentFragment} */ (pattern.content.cloneNode(true));
    return /** @type {HTMLButtonElement} */ (copy.firstElementChild);
  }

  /** Measure the round trip; whether the server answered. */
  async #echo() {
    const reply = await this.server?.once("/echo", { stamp: this.#stamp }, "stamp", SOON_MS);
    if (reply?.status === 200) this.#stamp = reply.body.stamp;
    return reply;
  }

  // ------------------------------------------------------------------------------- before a look

  /**
   * What comes next: a reason that is still to be said, a look, the end. An open look goes on at once.
   * @param {string} told what became of the one before, if that must be said
   * @returns {Promise<void>}
   */
  async #next(told) {
    this.#waiting(told, "Fetching the clips …");
    const reply = await this.#ahead();
    if (reply.status !== 200) return this.#stop(reply);
    const { look, total, deadline, num, den, unexplained } = reply.body;
    this.#deadline = deadline;
    this.#rate = { num, den };
    if (unexplained) return this.#explain(unexplained.n, unexplained.word, unexplained.why);
    if (!look) return this.#finish();
    this.#look = /** @type {Ahead} */ (look);
    this.#part("number").textContent = `Review ${look.number} of ${total}`;
    this.#part("topic").textContent = look.topic;
    for (const part of ["warning", "skip"]) this.#part(part).hidden = !look.warning || look.begun;
    await this.#fetched(this.#look);
    this.#say("fetching", "");
    if (look.begun) return this.#begin();
    const open = this.#button("open");
    open.disabled = false;
    if (matchMedia("(pointer: fine)").matches) open.focus({ preventScroll: true });
  }

  /** What is ahead, once everything before it has arrived; waits for the network. @returns {Promise<Reply>} */
  async #ahead() {
    for (;;) {
      const sent = await soon(this.outbox?.flush() ?? Promise.resolve(false), SOON_MS);
      const reply = sent && (await this.server?.once("/reviews", null, "look"));
      if (reply) return reply;
      this.#say("fetching", "Waiting for the network …");
      await pause(AGAIN_MS);
    }
  }

  /** The view before a look, while there is nothing to press. @param {string} told @param {string} why */
  #waiting(told, why) {
    this.#button("open").disabled = true;
    for (const part of ["warning", "skip"]) this.#part(part).hidden = true;
    this.#say("told", told);
    this.#say("fetching", why);
    this.#show("ready");
  }

  /** Fetch the clips of every view before the clock runs. @param {Ahead} look */
  async #fetched(look) {
    const names = look.angles.map((angle, k) => ({ n: look.n * MOST_VIEWS + k, clip: angle.clip }));
    for (const each of names) this.clips?.fetch(/** @type {import("../lib/look-run.js").Ahead} */ (each));
    const addresses = [];
    for (const each of names) addresses.push((await this.clips?.of(each.n)) ?? "");
    this.#play.bring(look, this.#rate, addresses);
  }

  async #finish() {
    const reply = await this.server?.once("/finish", {}, "result");
    if (!reply) {
      await pause(AGAIN_MS);
      return this.#next("");
    }
    if (reply.status !== 200) return this.#stop(reply);
    location.replace(reply.body.result);
  }

  /** Something that trying again does not mend. @param {Reply} reply */
  #stop(reply) {
    this.#say("fetching", "");
    this.#say("told", stopped(reply));
  }

  /** Leave out a clip that shows somebody being hurt. */
  #skip() {
    const { n } = /** @type {Ahead} */ (this.#look);
    this.outbox?.post(`/looks/${n}/skip`, { idempotency: freshWord() });
    this.#next(LEFT_OUT);
  }

  // ------------------------------------------------------------------------------- the look

  /** Have the look opened, or go on with it. */
  async #begin() {
    this.#button("open").disabled = true;
    this.#say("told", "");
    await this.#echo();
    const reply = await this.#opening();
    if (!reply) {
      this.#say("told", AWAY);
      this.#button("open").disabled = false;
      return;
    }
    if (reply.status !== 200) return this.#stop(reply);
    if (reply.body.nonce === null) return this.#next("");
    this.#outcome = this.#named = null;
    this.#ask(reply.body);
    this.#show("look");
    this.#play.rewind();
    const n = this.#look?.n;
    const over = () => this.#open && this.#look?.n === n && this.#decide();
    setTimeout(over, Math.max(0, reply.body.left)); // pictures of the screen do not come while the page is out of sight
    this.#run(null);
  }

  /** @returns {Promise<Reply | null>} */
  async #opening() {
    const n = this.#look?.n;
    const reply = await this.server?.once(`/reviews/${n}/open`, { stamp: this.#stamp }, "outcomes", SOON_MS);
    if (reply?.status === 200) {
      this.#open = reply.body;
      this.#openedAt = performance.now();
    }
    return reply ?? null;
  }

  /** A phone that slept may have stopped its clock: the server says what is left. */
  async #resume() {
    await this.#opening();
  }

  /** @param {Opened} opened */
  #ask(opened) {
    for (const side of this.#all("[data-field]")) side.hidden = side.dataset.field !== opened.called;
    this.#part("word").textContent = opened.word;
    this.#part("find").hidden = !opened.find;
    this.#part("find-text").textContent = opened.find;
    this.#part("kept").textContent = "";
    this.#button("this").textContent = "This is it";
    this.#part("outcomes").replaceChildren(...opened.outcomes.map((each) => this.#end(each)));
    this.#button("send").disabled = true;
  }

  /** @param {{id: string, word: string, means: string}} outcome */
  #end({ id, word, means }) {
    const row = this.#row("outcome");
    const [name, text] = [row.querySelector("strong"), row.querySelector("span")];
    if (name) name.textContent = word;
    if (text) text.textContent = means;
    row.dataset.outcome = id;
    row.addEventListener("click", () => {
      this.#outcome = id;
      for (const each of this.#all("[data-outcome]")) each.setAttribute("aria-pressed", String(each === row));
      this.#button("send").disabled = false;
    });
    return row;
  }

  /** Go with the clock until it is decided, or time is up. @param {number | null} before ms that were left */
  #run(before) {
    if (!this.#open) return;
    this.#play.follow();
    const left = leftAt(performance.now(), this.#openedAt, this.#open.left);
    const words = spoken(before, left);
    if (words) this.#part("heard").textContent = words;
    if (this.#part("figure").textContent !== figure(left)) this.#part("figure").textContent = figure(left);
    this.#part("pennon").style.setProperty("--left", String(Math.min(1, left / this.#deadline)));
    if (left > 0) requestAnimationFrame(() => this.#run(left));
    else this.#decide();
  }

  /** This is the frame that was to be found; it may be named anew. */
  #name() {
    const here = this.#play.here();
    if (!here) return;
    this.#named = { angle: here.angle, frame: here.frame };
    this.#part("kept").textContent = `Kept: ${here.words}`;
    this.#button("this").textContent = "No, this one";
  }

  /** Write the decision down and send it. Where no reply comes soon it is taken all the same. */
  async #decide() {
    const [open, look] = [this.#open, this.#look];
    if (!open || !look) return;
    this.#open = undefined;
    this.#play.stop();
    const gone = goneAt(performance.now(), this.#openedAt, open.left, this.#deadline);
    const after = reported(gone, this.#deadline);
    const said = { outcome: this.#outcome, ...(this.#named ?? { angle: null, frame: null }) };
    const message = { ...said, after, nonce: open.nonce, idempotency: freshWord() };
    const chosen = open.outcomes.find(({ id }) => id === said.outcome)?.word ?? "";
    const sent = /** @type {Outbox} */ (this.outbox).post(`/reviews/${look.n}/answer`, message);
    this.#leave(look);
    const reply = await soon(sent, SOON_MS);
    if (!reply) return this.#next(TAKEN);
    if (reply.status !== 200) return this.#next(reply.body.error);
    const { counts, why } = reply.body;
    if (!why) return this.#next(counts ? "No decision in time." : UNTIMED);
    await this.#explain(look.n, chosen, why);
  }

  /** The clips are gone once it is decided. @param {Ahead} look */
  #leave(look) {
    this.#play.clear();
    for (const k of look.angles.keys()) this.clips?.drop(look.n * MOST_VIEWS + k);
  }

  /**
   * Ask why, and keep what was said.
   * @param {number} n
   * @param {string} word
   * @param {import("./look-why.js").Why} why
   */
  async #explain(n, word, why) {
    const asked = this.querySelector("look-why");
    if (!(asked instanceof LookWhy)) return;
    this.#show("why");
    const reason = await asked.ask("", word, why);
    this.outbox?.post(`/reviews/${n}/reason`, { ...reason, idempotency: freshWord() });
    await this.#next("");
  }
}

customElements.define("review-look", ReviewLook);
