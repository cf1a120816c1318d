/**
 * <one-look>: a check on a phone. One look at a clip, seconds to decide, why, next; no way back.
 *
 * The server owns the clock and the answers; this element shows, measures and sends. Its markup is the server's: parts
 * are found by their `data-part`, and `data-show` says in which views a part is there (ready, look, why).
 */

import { left, secondsLeft } from "../lib/look-clock.js";
import { GIVE_UP_MS, Run } from "../lib/look-run.js";
import { Outbox } from "../lib/outbox.js";
import { LookWhy } from "./look-why.js";

/** @typedef {import("../lib/look-run.js").Ahead} Ahead */

const ECHOES = 3;

class OneLook extends HTMLElement {
  #at = "";
  #deadline = 5000;
  #stamp = "";
  /** @type {Map<number, Promise<string>>} clips that are on their way or here, by look */
  #clips = new Map();
  /** @type {Promise<unknown>} clips come one after another, the next one first */
  #fetching = Promise.resolve();
  /** @type {Ahead | undefined} */
  #look;
  /** @type {Run | undefined} */
  #run;

  connectedCallback() {
    this.#at = this.dataset.at ?? "";
    this.#deadline = Number(this.dataset.seconds) * 1000;
    this.outbox = new Outbox(
      storage(),
      `pennon:${this.#at}`,
      ({ path, body }) => this.#once(path, body),
      (tries) => this.#wait(tries),
    );
    document.addEventListener("visibilitychange", () => {
      if (document.hidden && this.#run) this.#run.hidden = true;
    });
    for (const plane of this.#planes) {
      plane.addEventListener("pointerdown", (event) => this.#press(plane, event.timeStamp));
      plane.addEventListener("click", (event) => this.#press(plane, event.timeStamp));
    }
    document.addEventListener("keydown", (event) => {
      const side = { ArrowLeft: "no flag", ArrowRight: "flag" }[event.key];
      const plane = this.#planes.find((each) => each.dataset.decision === side);
      if (plane && !event.repeat) this.#press(plane, event.timeStamp);
    });
    this.#part("open").addEventListener("click", () => this.#open());
    this.#begin();
  }

  /** @returns {HTMLButtonElement[]} */
  get #planes() {
    return [...this.querySelectorAll("[data-decision]")].map((each) => /** @type {HTMLButtonElement} */ (each));
  }

  get #video() {
    return /** @type {HTMLVideoElement} */ (this.querySelector("video"));
  }

  /**
   * @param {string} name
   * @returns {HTMLElement}
   */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  /** @param {string} view */
  #show(view) {
    this.dataset.view = view;
    for (const part of this.querySelectorAll("[data-show]")) {
      /** @type {HTMLElement} */ (part).hidden = !part.getAttribute("data-show")?.split(" ").includes(view);
    }
    scrollTo(0, 0);
  }

  // ------------------------------------------------------------------------------- talking to the server

  /**
   * One try; null when nothing of ours answered.
   * @param {string} path
   * @param {object} [body]
   */
  async #once(path, body) {
    try {
      const reply = await fetch(`${this.#at}${path}`, {
        method: body ? "POST" : "GET",
        headers: {
          Accept: "application/json",
          "Content-Type": "application/json",
          "X-Form-Token": this.dataset.token ?? "",
        },
        body: body ? JSON.stringify(body) : null,
      });
      if (reply.status >= 500 || !reply.headers.get("content-type")?.includes("json")) return null;
      this.#part("network").hidden = true;
      return { status: reply.status, body: await reply.json() };
    } catch {
      return null;
    }
  }

  /** Say that the network is away, and wait a little. @param {number} tries */
  #wait(tries) {
    this.#part("network").hidden = false;
    return new Promise((/** @type {(value: void) => void} */ again) =>
      setTimeout(() => again(), Math.min(3000, 500 * (tries + 1))),
    );
  }

  /**
   * Ask until the server answers.
   * @param {string} path
   * @param {object} [body]
   */
  async #ask(path, body) {
    for (let tries = 0; ; tries += 1) {
      const reply = await this.#once(path, body);
      if (reply) return reply;
      await this.#wait(tries);
    }
  }

  async #begin() {
    await this.outbox?.flush();
    for (let k = 0; k <= ECHOES; k += 1) {
      const reply = await this.#ask("/echo", { stamp: this.#stamp });
      this.#stamp = reply.body.stamp ?? "";
    }
    await this.#next("");
  }

  // ------------------------------------------------------------------------------- before a look

  /**
   * The next look. Its clip is here before anybody is asked whether they are ready.
   * @param {string} told what became of the one before, if that must be said
   */
  async #next(told) {
    const open = /** @type {HTMLButtonElement} */ (this.#part("open"));
    open.disabled = true;
    this.#part("opened-before").hidden = true;
    this.#part("fetching").hidden = false;
    this.#part("told").hidden = !told;
    this.#part("told").textContent = told;
    this.#clock(1);
    this.#show("ready");
    const { status, body } = await this.#ask("/ahead");
    if (status !== 200) return this.#stop(body.error);
    const look = /** @type {Ahead | undefined} */ (body.looks[0]);
    if (!look) return this.#finish();
    this.#look = look;
    this.#part("number").textContent = `Look ${look.number} of ${body.total}`;
    this.#part("topic").textContent = look.topic;
    this.#part("flag-word").textContent = look.flag;
    this.#part("no-flag-word").textContent = look.no_flag;
    for (const each of body.looks) this.#fetch(each);
    if (look.clip) await this.#load(await /** @type {Promise<string>} */ (this.#clips.get(look.n)));
    this.#part("fetching").hidden = true;
    this.#part("opened-before").hidden = look.clip !== "";
    open.textContent = look.clip ? "Show it" : "Call it";
    open.disabled = false;
    if (matchMedia("(pointer: fine)").matches) open.focus({ preventScroll: true });
  }

  async #finish() {
    await this.#ask("/finish", {});
    location.replace(`${this.#at}/result`);
  }

  /** Something that trying again does not mend. @param {string} [why] */
  #stop(why) {
    this.#part("fetching").hidden = true;
    this.#part("told").hidden = false;
    this.#part("told").textContent = `${why ?? "This cannot go on."} Load the page again; what you decided is kept.`;
  }

  /** @param {Ahead} look */
  #fetch(look) {
    if (!look.clip || this.#clips.has(look.n)) return;
    const clip = this.#fetching.then(() => this.#clip(look.clip));
    this.#fetching = clip;
    this.#clips.set(look.n, clip);
  }

  /** A clip as an address inside this page. @param {string} address */
  async #clip(address) {
    for (let tries = 0; ; tries += 1) {
      try {
        const reply = await fetch(address);
        if (reply.ok) return URL.createObjectURL(await reply.blob());
        if (reply.status === 404) return "";
      } catch {
        // the network is away; tried again below
      }
      await this.#wait(tries);
      this.#part("network").hidden = true;
    }
  }

  /** @param {string} address */
  #load(address) {
    const video = this.#video;
    return new Promise((/** @type {(value: void) => void} */ ready) => {
      video.onloadeddata = video.onerror = () => ready();
      setTimeout(() => ready(), GIVE_UP_MS);
      video.src = address;
      video.load();
    });
  }

  // ------------------------------------------------------------------------------- the look

  /** Open the look: from here on there is no way back. */
  async #open() {
    const look = /** @type {Ahead} */ (this.#look);
    /** @type {HTMLButtonElement} */ (this.#part("open")).disabled = true;
    const { status, body } = await this.#ask(`/looks/${look.n}/open`, { stamp: this.#stamp });
    if (status !== 200) return this.#stop(body.error);
    if (body.nonce === null) return this.#next("");
    this.#run = new Run(look, body.nonce, body.opened ? this.#deadline : body.left, !body.opened);
    this.#show("look");
    if (body.opened) this.#play(this.#run);
    else this.#live(true);
    this.#tick(this.#run);
  }

  /** Show the clip once, and note when its first and its last frame are shown. @param {Run} run */
  #play(run) {
    const video = this.#video;
    const started = (/** @type {number} */ at) => {
      if (run.first === null) this.#live(true);
      run.first ??= at;
    };
    video.onended = () => run.end(performance.now());
    video.onerror = () => run.end(performance.now());
    if ("requestVideoFrameCallback" in video) {
      /** @type {VideoFrameRequestCallback} */
      const frame = (_, shown) => {
        started(shown.expectedDisplayTime);
        run.shown(shown.expectedDisplayTime, shown.presentedFrames);
        if (!run.decided) video.requestVideoFrameCallback(frame);
      };
      video.requestVideoFrameCallback(frame);
    } else {
      /** @type {HTMLVideoElement} */ (video).onplaying = () => started(performance.now());
    }
    video.play().catch(() => run.end(performance.now()));
  }

  /** @param {boolean} live whether the planes can be pressed */
  #live(live) {
    for (const plane of this.#planes) plane.disabled = !live;
  }

  /** Draw the clock until it is decided, or time is up, or the clip does not play. @param {Run} run */
  #tick(run) {
    let second = -1;
    const step = () => {
      if (run.decided) return;
      const now = performance.now();
      const share = left(now, run.last, run.deadline);
      const seconds = this.#clock(share * (run.deadline / this.#deadline));
      if (seconds !== second && seconds === 1 && run.last !== null) navigator.vibrate?.(60);
      second = seconds;
      if (share <= 0 || run.stuck(now)) this.#decide(run, null, now);
      else requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
  }

  /**
   * The figure, and the pennon drawn in towards its staff; in steps where people want less motion.
   * @param {number} share of the time that is left
   */
  #clock(share) {
    const seconds = secondsLeft(share, this.#deadline);
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const drawn = still ? (seconds * 1000) / this.#deadline : share;
    this.#part("clock").style.setProperty("--left", String(drawn));
    const figure = this.#part("seconds");
    if (figure.textContent !== String(seconds)) figure.textContent = String(seconds);
    return seconds;
  }

  /** @param {HTMLButtonElement} plane @param {number} pressed */
  #press(plane, pressed) {
    const run = this.#run;
    if (run && !plane.disabled && this.dataset.view === "look")
      this.#decide(run, plane.dataset.decision ?? null, pressed);
  }

  /**
   * Lock the decision and send it; sending may take as long as it takes.
   * @param {Run} run
   * @param {string | null} decision
   * @param {number} pressed
   */
  async #decide(run, decision, pressed) {
    if (run.decided) return;
    run.decided = true;
    this.#live(false);
    this.#leave(run.look);
    const message = { ...run.report(pressed), decision, idempotency: run.idempotency, nonce: run.nonce };
    const reply = await this.outbox?.post(`/looks/${run.look.n}/answer`, message);
    if (reply?.status !== 200) return this.#next(reply?.body.error ?? "");
    const { counts, why } = reply.body;
    if (!counts) return this.#next("Your phone could not play this smoothly. It does not count; another one comes.");
    if (decision === null || !why) return this.#next("No call in time.");
    this.#show("why");
    const asked = this.querySelector("look-why");
    if (!(asked instanceof LookWhy)) return;
    const word = decision === "flag" ? run.look.flag : run.look.no_flag;
    const reason = await asked.ask(decision, word, why);
    await this.outbox?.post(`/looks/${run.look.n}/reason`, reason);
    await this.#next("");
  }

  /** The clip is gone once it is decided. @param {Ahead} look */
  async #leave(look) {
    const video = this.#video;
    video.pause();
    video.removeAttribute("src");
    video.load();
    const address = await this.#clips.get(look.n);
    if (address) URL.revokeObjectURL(address);
    this.#clips.delete(look.n);
  }
}

/** Where this browser keeps things; null where it keeps none. */
function storage() {
  try {
    return localStorage;
  } catch {
    return null;
  }
}

customElements.define("one-look", OneLook);
