/**
 * <one-look>: a check on a phone. One look at a clip, seconds to decide, why, next; no way back.
 *
 * The server owns the clock and the answers; this element shows, measures and sends. Its markup is the server's: the
 * parts are found by their `data-part`, and one of the views (ready, look, why, done) is shown at a time.
 */

import { dropped, left, measured } from "../lib/look-clock.js";

/**
 * @typedef {object} Ahead
 * @property {number} n
 * @property {number} number which look this is, from 1
 * @property {string} clip address of the clip
 * @property {number} ms length of the clip
 * @property {string} topic
 * @property {string} flag
 * @property {string} no_flag
 * @property {string | null} nonce set when the look was opened before
 */

/** @typedef {{ id: string, text: string, hint: string, exception: boolean }} Element_ */

const FRAMES_A_SECOND = 30;

class OneLook extends HTMLElement {
  connectedCallback() {
    this.at = this.dataset.at ?? "";
    this.deadline = Number(this.dataset.seconds) * 1000;
    this.wasHidden = false;
    /** @type {Map<number, Promise<string>>} */
    this.fetched = new Map();
    this.video = /** @type {HTMLVideoElement} */ (this.querySelector("video"));
    document.addEventListener("visibilitychange", () => {
      this.wasHidden = this.wasHidden || document.hidden;
    });
    for (const side of this.querySelectorAll("[data-decision]")) {
      side.addEventListener("pointerdown", (event) => this.press(/** @type {PointerEvent} */ (event)));
      side.addEventListener("click", (event) => this.press(/** @type {MouseEvent} */ (event)));
    }
    this.part("open").addEventListener("click", () => this.open());
    this.next();
  }

  /**
   * @param {string} name
   * @returns {HTMLElement}
   */
  part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  /** @param {string} name */
  show(name) {
    for (const view of this.querySelectorAll("[data-view]")) {
      /** @type {HTMLElement} */ (view).hidden = view.getAttribute("data-view") !== name;
    }
    document.body.dataset.view = name;
  }

  /** @param {string} name @param {string} text */
  say(name, text) {
    this.part(name).textContent = text;
  }

  /**
   * Ask the server; a fault of the network is tried again until it answers.
   * @param {string} path
   * @param {object} [body]
   * @returns {Promise<any>}
   */
  async ask(path, body) {
    for (let tries = 0; ; tries += 1) {
      try {
        const reply = await fetch(`${this.at}${path}`, {
          method: body ? "POST" : "GET",
          headers: { "Content-Type": "application/json", "X-Form-Token": this.dataset.token ?? "" },
          body: body ? JSON.stringify(body) : null,
        });
        if (reply.status < 500 && reply.headers.get("content-type")?.includes("json")) {
          this.part("network").hidden = true;
          return await reply.json();
        }
      } catch {
        // the network is away; what was decided is kept here and sent when it is back
      }
      this.part("network").hidden = false;
      await new Promise((again) => setTimeout(again, Math.min(3000, 500 * (tries + 1))));
    }
  }

  /** The next look, its clip fetched before anybody is asked whether they are ready. */
  async next() {
    this.show("ready");
    this.part("open").setAttribute("disabled", "");
    const ahead = await this.ask("/ahead");
    if (!ahead.looks?.length) {
      await this.ask("/finish", {});
      location.replace(`${this.at}/result`);
      return;
    }
    /** @type {Ahead[]} */
    const looks = ahead.looks;
    this.look = looks[0];
    for (const name of ["number", "number-why"]) this.say(name, `Look ${this.look.number} of ${ahead.total}`);
    this.say("ready-number", `Look ${this.look.number} of ${ahead.total}`);
    this.say("flag-word", this.look.flag);
    this.say("no-flag-word", this.look.no_flag);
    this.say("topic", this.look.topic);
    for (const each of looks) this.fetch(each);
    this.video.src = await /** @type {Promise<string>} */ (this.fetched.get(this.look.n));
    this.part("opened-before").hidden = this.look.nonce === null;
    this.part("open").removeAttribute("disabled");
    this.part("open").focus();
  }

  /** @param {Ahead} look */
  fetch(look) {
    if (this.fetched.has(look.n)) return;
    const clip = async () => {
      for (let tries = 0; ; tries += 1) {
        try {
          const reply = await fetch(look.clip);
          if (reply.ok) return URL.createObjectURL(await reply.blob());
        } catch {
          // tried again below
        }
        await new Promise((again) => setTimeout(again, Math.min(4000, 700 * (tries + 1))));
      }
    };
    this.fetched.set(look.n, clip());
  }

  /** Open the look: from here on there is no way back. */
  async open() {
    const look = /** @type {Ahead} */ (this.look);
    this.part("open").setAttribute("disabled", "");
    const asked = performance.now();
    const reply = await this.ask(`/looks/${look.n}/open`, {});
    this.rtt = Math.round(performance.now() - asked);
    this.opened = performance.now();
    this.nonce = reply.nonce;
    this.first = /** @type {number | null} */ (null);
    this.last = /** @type {number | null} */ (null);
    this.presented = 0;
    this.decided = false;
    this.wasHidden = document.hidden;
    this.show("look");
    if (!reply.opened) {
      // seen before: decide, or let it go, but it is not shown again
      this.first = this.opened;
      this.last = this.opened;
      this.run();
      return;
    }
    this.watch();
    await this.video.play().catch(() => this.ended());
    this.run();
  }

  /** Note when the first and the last frame are shown, as exactly as this browser tells. */
  watch() {
    const video = this.video;
    const total = Math.round((/** @type {Ahead} */ (this.look).ms / 1000) * FRAMES_A_SECOND);
    video.onended = () => this.ended();
    if (!("requestVideoFrameCallback" in video)) {
      video.onplaying = () => {
        this.first ??= performance.now();
        this.presented = total;
      };
      return;
    }
    /** @type {VideoFrameRequestCallback} */
    const frame = (_, shown) => {
      this.first ??= shown.expectedDisplayTime;
      this.presented = shown.presentedFrames - (this.before ?? 0);
      this.shownLast = shown.expectedDisplayTime;
      if (!this.decided) video.requestVideoFrameCallback(frame);
    };
    this.before = video.getVideoPlaybackQuality?.().totalVideoFrames ? this.presented : 0;
    video.requestVideoFrameCallback((now, shown) => {
      this.before = shown.presentedFrames - 1;
      frame(now, shown);
    });
  }

  ended() {
    if (this.last === null) this.last = this.shownLast ?? performance.now();
    this.first ??= this.opened ?? 0;
  }

  /** Draw the clock until it is decided or time is up. */
  run() {
    const clock = this.part("clock");
    let second = -1;
    const step = () => {
      if (this.decided) return;
      const share = left(performance.now(), this.last ?? null, this.deadline ?? 0);
      const seconds = Math.ceil((share * (this.deadline ?? 0)) / 1000);
      clock.style.setProperty("--left", String(share));
      if (seconds !== second) {
        second = seconds;
        this.say("seconds", String(seconds));
        if (seconds === 1 && this.last !== null) navigator.vibrate?.(60);
      }
      if (share <= 0) {
        this.decide(null, performance.now());
        return;
      }
      requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
  }

  /** @param {PointerEvent | MouseEvent} event */
  press(event) {
    const side = /** @type {HTMLElement} */ (event.currentTarget);
    this.decide(side.dataset.decision ?? null, event.timeStamp);
  }

  /**
   * Lock the decision and send it; sending may take as long as it takes.
   * @param {string | null} decision
   * @param {number} pressed
   */
  async decide(decision, pressed) {
    if (this.decided || this.opened === undefined || document.body.dataset.view !== "look") return;
    const look = /** @type {Ahead} */ (this.look);
    this.decided = true;
    this.video.pause();
    const total = Math.round((look.ms / 1000) * FRAMES_A_SECOND);
    const first = this.first ?? this.opened;
    const times = measured(this.opened, first, this.last ?? null, pressed, look.ms);
    const lost = this.last === null ? 0 : dropped(this.presented ?? 0, total);
    const reply = await this.ask(`/looks/${look.n}/answer`, {
      ...times,
      nonce: this.nonce,
      decision,
      hidden: this.wasHidden,
      dropped: lost,
      rtt: this.rtt,
      idempotency: `${this.nonce}:${look.n}`,
    });
    this.fetched?.delete(look.n);
    if (decision === null || reply.counts === false) {
      this.say("told", decision === null ? "No answer in time." : "");
      this.part("unplayed").hidden = reply.counts !== false;
      this.show("told");
      setTimeout(() => this.next(), reply.counts === false ? 2600 : 1200);
      return;
    }
    await this.why(decision, reply);
  }

  /**
   * Ask why: every element one by one, or the deciding one by one tap.
   * @param {string} decision
   * @param {{ asks_all: boolean, why: Element_[] }} reply
   */
  async why(decision, reply) {
    const look = /** @type {Ahead} */ (this.look);
    this.show("why");
    for (const side of this.querySelectorAll("[data-called]")) {
      /** @type {HTMLElement} */ (side).hidden = side.getAttribute("data-called") !== decision;
    }
    for (const word of this.querySelectorAll("[data-called-word]")) {
      word.textContent = (decision === "flag" ? look.flag : look.no_flag).toLowerCase();
    }
    /** @type {Record<string, string>} */
    const shows = reply.asks_all ? await this.askAll(reply.why) : await this.askOne(reply.why);
    await this.ask(`/looks/${look.n}/reason`, { shows, whole: reply.asks_all });
    this.next();
  }

  /** @param {Element_[]} elements */
  async askAll(elements) {
    this.part("all").hidden = false;
    this.part("one").hidden = true;
    /** @type {Record<string, string>} */
    const shows = {};
    for (let k = 0; k < elements.length; k += 1) {
      const element = elements[k];
      this.say("element-number", element.exception ? "" : String(k + 1));
      this.say("element-text", element.text);
      this.say("element-hint", element.hint);
      this.say("element-count", `${k + 1} of ${elements.length}`);
      const back = this.part("element-back");
      back.hidden = k === 0;
      const chosen = await this.choice(back);
      if (chosen === "back") {
        k -= 2;
        continue;
      }
      shows[element.id] = chosen;
    }
    return shows;
  }

  /** @param {HTMLElement} back */
  choice(back) {
    return new Promise((/** @type {(chosen: string) => void} */ chosen) => {
      for (const button of this.querySelectorAll("[data-presence]")) {
        /** @type {HTMLElement} */ (button).onclick = () =>
          chosen(/** @type {HTMLElement} */ (button).dataset.presence ?? "");
      }
      back.onclick = () => chosen("back");
    });
  }

  /**
   * One tap: which of them decided it.
   * @param {Element_[]} elements
   * @returns {Promise<Record<string, string>>}
   */
  askOne(elements) {
    this.part("all").hidden = true;
    this.part("one").hidden = false;
    const list = this.part("points");
    const pattern = /** @type {HTMLTemplateElement} */ (this.querySelector("template"));
    return new Promise((done) => {
      const rows = [
        { id: "", text: "All of it is there, and nothing takes it away", shows: "present" },
        ...elements.map((each) => ({
          id: each.id,
          text: each.exception ? each.text : `Missing: ${each.text}`,
          shows: each.exception ? "present" : "absent",
        })),
        { id: "-", text: "I could not see it", shows: "can't tell" },
      ];
      list.replaceChildren(
        ...rows.map((row) => {
          const item = /** @type {DocumentFragment} */ (pattern.content.cloneNode(true));
          const button = /** @type {HTMLButtonElement} */ (item.querySelector("button"));
          button.textContent = row.text;
          button.onclick = () => done(row.id === "" || row.id === "-" ? {} : { [row.id]: row.shows });
          if (row.id === "") {
            button.onclick = () =>
              done(Object.fromEntries(elements.map((each) => [each.id, each.exception ? "absent" : "present"])));
          }
          if (row.id === "-") {
            button.onclick = () => done(Object.fromEntries(elements.map((each) => [each.id, "can't tell"])));
          }
          return item;
        }),
      );
    });
  }
}

customElements.define("one-look", OneLook);
