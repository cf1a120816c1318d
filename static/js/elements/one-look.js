/**
 * <one-look>: a check on a phone. One look at a clip, seconds to decide, why, next; no way back.
 *
 * The server owns the clock and the answers; this element shows, measures and sends. Its markup is the server's: parts
 * are found by their `data-part`, and `data-show` says in which views a part is there (ready, look, why, test). Nothing
 * is opened while the server does not answer at once: whoever waited is asked anew whether they are ready.
 */

import { Clips } from "../lib/look-clips.js";
import { Face } from "../lib/look-face.js";
import { freshWord, load, play, Run } from "../lib/look-run.js";
import { back, Server, soon } from "../lib/look-server.js";
import { because, LEFT_OUT, PRACTICE, stopped, TAKEN, UNSTARTED } from "../lib/look-words.js";
import { Outbox } from "../lib/outbox.js";
import { storeOf } from "../lib/outbox-store.js";
import { LookWhy } from "./look-why.js";
import { PhoneTest } from "./phone-test.js";

/** @typedef {import("../lib/look-run.js").Ahead} Ahead */
/** @typedef {import("../lib/outbox.js").Reply} Reply */

const ECHOES = 3;
const SOON_MS = 2000;
const TRY_AGAIN_MS = 3000;

class OneLook extends HTMLElement {
  #stamp = "";
  /** @type {Ahead[]} those that the server told of last */
  #ahead = [];
  /** @type {Set<number>} looks that this page has decided or left out */
  #done = new Set();
  /** @type {Ahead | undefined} */
  #look;
  /** Whether the look is shown without the network, as practice. */
  #alone = false;
  /** The last press of the button, while no reply to it has come. */
  #press = { n: -1, word: "", times: 0 };
  /** @type {Run | undefined} */
  #run;
  /** Which waiting is the present one: an older one must not change the page under the thumb. */
  #turn = 0;
  #tested = false;
  /** @type {string | null} what has become meanwhile of a call that was taken without a reply */
  #news = null;

  async connectedCallback() {
    const at = this.dataset.at ?? "";
    const away = (/** @type {boolean} */ is) => {
      this.#part("network").hidden = !is;
    };
    this.clips = new Clips(away);
    this.server = new Server(at, this.dataset.token ?? "", away);
    this.face = new Face(this.#part("clock"), this.#part("seconds"), this.#part("heard"));
    this.face.deadline = Number(this.dataset.deadline);
    this.#listen();
    const { server } = this;
    const store = await storeOf(`${this.dataset.person}:${at}`);
    this.outbox = new Outbox(store, ({ path, body }) => server.once(path, body, "idempotency"));
    addEventListener("online", () => this.outbox?.flush());
    setInterval(() => this.outbox?.flush(), TRY_AGAIN_MS);
    await soon(this.outbox.begin(), SOON_MS);
    for (let k = 0; k <= ECHOES && (await this.#echo()); k += 1);
    await this.#next("");
  }

  #listen() {
    document.addEventListener("visibilitychange", () => {
      if (document.hidden && this.#run) this.#run.hidden = true;
    });
    for (const plane of this.#planes) {
      plane.addEventListener("pointerdown", (event) => this.#pressed(plane, event.timeStamp));
      plane.addEventListener("click", (event) => this.#pressed(plane, event.timeStamp));
    }
    document.addEventListener("keydown", (event) => {
      const side = { ArrowLeft: "no flag", ArrowRight: "flag" }[event.key];
      const plane = this.#planes.find((each) => each.dataset.decision === side);
      if (plane && !event.repeat) this.#pressed(plane, event.timeStamp);
    });
    this.#part("open").addEventListener("click", () => (this.#alone ? this.#practise() : this.#open()));
    this.#part("skip").addEventListener("click", () => this.#skip());
  }

  /** @returns {HTMLButtonElement[]} */
  get #planes() {
    return [...this.querySelectorAll("[data-decision]")].map((each) => /** @type {HTMLButtonElement} */ (each));
  }

  get #video() {
    return /** @type {HTMLVideoElement} */ (this.querySelector("video[data-show]"));
  }

  /**
   * @param {string} name
   * @returns {HTMLElement}
   */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  /** Show a part with these words, or hide it where there are none. @param {string} name @param {string} text */
  #say(name, text) {
    this.#part(name).hidden = !text;
    this.#part(name).textContent = text;
  }

  /** @param {string} view */
  #show(view) {
    this.dataset.view = view;
    for (const part of this.querySelectorAll("[data-show]")) {
      /** @type {HTMLElement} */ (part).hidden = !part.getAttribute("data-show")?.split(" ").includes(view);
    }
    scrollTo(0, 0);
  }

  get #face() {
    return /** @type {Face} */ (this.face);
  }

  /** @param {string} path @param {import("../lib/outbox.js").Body} body */
  #post(path, body) {
    return /** @type {Outbox} */ (this.outbox).post(path, body);
  }

  /** What the server says to a message; null as soon as the network is known to be away. @param {Promise<Reply>} sent */
  async #sent(sent) {
    return (await this.outbox?.flush()) ? sent : null;
  }

  /** Measure the round trip; whether the server answered. @param {number} [patience] */
  async #echo(patience) {
    const reply = await this.server?.once("/echo", { stamp: this.#stamp }, "stamp", patience);
    if (reply?.status === 200) this.#stamp = reply.body.stamp;
    return reply;
  }

  // ------------------------------------------------------------------------------- before a look

  /**
   * What comes next: a reason that is still to be said, a look, the end. Its clip is here before anybody is asked
   * whether they are ready.
   * @param {string} told what became of the one before, if that must be said
   * @returns {Promise<void>}
   */
  async #next(told) {
    this.#turn += 1;
    this.#waiting(told, "Fetching the clip …");
    const reply = await this.#asked();
    if (!reply) return this.#away(told);
    if (reply.status !== 200) return this.#stop(reply);
    const { looks, total, deadline, unexplained } = reply.body;
    this.#ahead = looks;
    this.#face.deadline = deadline;
    this.#face.draw(1);
    if (this.#news !== null) this.#say("told", this.#news);
    this.#news = null;
    if (unexplained) this.#part("number").textContent = "The look before";
    if (unexplained) return this.#explain(unexplained.n, unexplained.decision, unexplained.word, unexplained.why);
    const look = /** @type {Ahead | undefined} */ (looks[0]);
    if (!look) return this.#finish();
    for (const each of looks) this.clips?.fetch(each);
    if (look.number === 1 && look.clip && !this.#tested) await this.#test();
    const shows = Boolean(look.clip) || (this.#press.n === look.n && Boolean(this.clips?.has(look.n)));
    if (shows) await load(this.#video, (await this.clips?.of(look.n)) ?? "");
    this.#part("number").textContent = `Look ${look.number}${total ? ` of ${total}` : ""}`;
    this.#ready(look, shows ? "Show it" : "Call it");
    this.#part("opened-before").hidden = shows;
  }

  /** What is ahead, as soon as everything before it has arrived. @returns {Promise<Reply | null>} */
  async #asked() {
    const isSent = await soon(this.outbox?.flush() ?? Promise.resolve(false), SOON_MS);
    return (isSent && (await this.server?.once("/ahead", null, "looks"))) || null;
  }

  /**
   * The view before a look, while there is nothing to press.
   * @param {string} told
   * @param {string} why
   */
  #waiting(told, why) {
    /** @type {HTMLButtonElement} */ (this.#part("open")).disabled = true;
    this.#alone = false;
    for (const part of ["opened-before", "alone", "warning", "skip"]) this.#part(part).hidden = true;
    this.#say("told", told);
    this.#say("fetching", why);
    this.#face.draw(1);
    this.#show("ready");
  }

  /**
   * Ask whether they are ready.
   * @param {Ahead} look
   * @param {string} press
   */
  #ready(look, press) {
    this.#look = look;
    this.#part("topic").textContent = look.topic;
    this.#part("flag-word").textContent = look.flag;
    this.#part("no-flag-word").textContent = look.no_flag;
    this.#say("fetching", "");
    for (const part of ["warning", "skip"]) this.#part(part).hidden = !look.warning || press === "Call it";
    const open = /** @type {HTMLButtonElement} */ (this.#part("open"));
    open.textContent = press;
    open.disabled = false;
    this.#show("ready");
    if (matchMedia("(pointer: fine)").matches) open.focus({ preventScroll: true });
  }

  /**
   * The server does not answer: wait for it, or go on by oneself with a clip that is here.
   * @param {string} told
   * @returns {Promise<void>}
   */
  async #away(told) {
    this.#turn += 1;
    const turn = this.#turn;
    const look = this.#ahead.find((each) => each.clip && !this.#done.has(each.n) && this.clips?.has(each.n));
    this.#waiting(told, look ? "" : "Waiting for the network …");
    this.#part("number").textContent = "Without the network";
    if (look) {
      await load(this.#video, (await this.clips?.of(look.n)) ?? "");
      if (turn !== this.#turn) return;
      this.#alone = true;
      this.#part("alone").hidden = false;
      this.#ready(look, "Go on as practice");
    }
    while (turn === this.#turn) {
      await back(TRY_AGAIN_MS);
      if (turn === this.#turn && (await this.#echo(SOON_MS)) && turn === this.#turn) return this.#next(told);
    }
  }

  /** A phone is tried once before the first look, with a clip on which nothing is judged. */
  async #test() {
    const test = this.querySelector("phone-test");
    if (!(test instanceof PhoneTest)) return;
    this.#part("number").textContent = "Before the first look";
    this.#show("test");
    await test.done();
    this.#tested = true;
    this.#waiting("", "Fetching the clip …");
  }

  async #finish() {
    const reply = await this.server?.once("/finish", {}, "result");
    if (!reply) return this.#away("");
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
    this.#leave(n);
    this.#post(`/looks/${n}/skip`, { idempotency: freshWord() });
    this.#next(LEFT_OUT);
  }

  // ------------------------------------------------------------------------------- the look

  /** Open the look: from here on there is no way back. */
  async #open() {
    const look = /** @type {Ahead} */ (this.#look);
    const open = /** @type {HTMLButtonElement} */ (this.#part("open"));
    open.disabled = true;
    if (this.#press.n !== look.n) this.#press = { n: look.n, word: freshWord(), times: 0 };
    this.#press.times += 1;
    const { word: press, times } = this.#press;
    const opening = { stamp: this.#stamp, press, times };
    const reply =
      (await this.#echo(SOON_MS)) && (await this.server?.once(`/looks/${look.n}/open`, opening, "opened", SOON_MS));
    if (!reply) return this.#away(UNSTARTED);
    if (reply.status !== 200) return this.#stop(reply);
    const { nonce, opened, left: ms } = reply.body;
    if (nonce === null) return this.#next("");
    this.#begin(new Run(look, nonce, ms, !opened));
  }

  /** Show the clip without the network. */
  #practise() {
    this.#turn += 1;
    this.#begin(new Run(/** @type {Ahead} */ (this.#look), "", this.#face.deadline, false));
  }

  /** @param {Run} run */
  #begin(run) {
    this.#run = run;
    this.#show("look");
    if (run.reopened) this.#live(true);
    else play(this.#video, run, () => this.#live(true));
    this.#face.follow(run, (now) => this.#decide(run, null, now));
  }

  /** @param {boolean} live whether the planes can be pressed */
  #live(live) {
    for (const plane of this.#planes) plane.disabled = !live;
  }

  /** @param {HTMLButtonElement} plane @param {number} at */
  #pressed(plane, at) {
    const run = this.#run;
    if (run && !plane.disabled && this.dataset.view === "look") this.#decide(run, plane.dataset.decision ?? null, at);
  }

  /**
   * Lock the decision, write it down and send it. Where no reply comes soon it is taken all the same.
   * @param {Run} run
   * @param {string | null} decision
   * @param {number} pressed
   */
  async #decide(run, decision, pressed) {
    if (run.decided) return;
    run.decided = true;
    this.#live(false);
    const look = /** @type {Ahead} */ (this.#look);
    this.#leave(look.n);
    const message = { ...run.report(pressed), decision, idempotency: run.idempotency, nonce: run.nonce };
    const sent = this.#post(`/looks/${look.n}/answer`, message);
    if (run.unopened) return this.#next(PRACTICE);
    const reply = await soon(this.#sent(sent), SOON_MS);
    if (!reply) {
      sent.then(({ body }) => {
        this.#news = body.why ? "" : (body.error ?? because(body.cause, body.counts));
      });
      return this.#next(TAKEN);
    }
    if (reply.status !== 200) return this.#next(reply.body.error);
    const { counts, cause, why } = reply.body;
    if (!why) return this.#after(look.n, because(cause, counts));
    await this.#explain(look.n, decision ?? "", decision === "flag" ? look.flag : look.no_flag, why);
  }

  /**
   * Ask why, and keep what was said.
   * @param {number} n
   * @param {string} decision
   * @param {string} word
   * @param {import("./look-why.js").Why} why
   */
  async #explain(n, decision, word, why) {
    const asked = this.querySelector("look-why");
    if (!(asked instanceof LookWhy)) return;
    this.#show("why");
    const reason = await asked.ask(decision, word, why);
    this.#post(`/looks/${n}/reason`, { ...reason, idempotency: freshWord() });
    await this.#after(n, "");
  }

  /**
   * What comes after a look: in a practice its answer, else the next one.
   * @param {number} n
   * @param {string} told
   */
  async #after(n, told) {
    const answers = this.dataset.practice && (await soon(this.outbox?.flush() ?? Promise.resolve(false), SOON_MS));
    if (answers) location.assign(`${this.dataset.at}/result/${n}`);
    else await this.#next(told);
  }

  /** The clip is gone once it is decided. @param {number} n */
  #leave(n) {
    this.#done.add(n);
    const video = this.#video;
    video.pause();
    video.removeAttribute("src");
    video.load();
    this.clips?.drop(n);
  }
}

customElements.define("one-look", OneLook);
