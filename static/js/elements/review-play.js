/**
 * <review-play>: one play from every side. Played at full speed, half or quarter, stepped picture by picture, dragged to
 * any instant; another view shows the same instant. Arrow keys step, the space bar plays, digits choose the view.
 */

import { Views, within } from "../lib/review-views.js";
import { clock } from "../lib/timecode.js";

/** @typedef {import("../lib/review-views.js").Angle} Angle */
/** @typedef {{frames: number, angles: Angle[]}} Play */

export class ReviewPlay extends HTMLElement {
  /** @type {Views | undefined} */
  #views;
  /** @type {Angle[]} */
  #angles = [];
  #rate = { num: 30, den: 1 };

  connectedCallback() {
    this.#button("play").addEventListener("click", () => this.#views?.play());
    this.#scrub.addEventListener("input", () => this.#views?.stand(Number(this.#scrub.value)));
    for (const each of this.#all("[data-step]")) each.onclick = () => this.#step(Number(each.dataset.step));
    for (const each of this.#all("[data-speed]")) each.onclick = () => this.#pace(each);
    document.addEventListener("keydown", (event) => this.#key(event));
  }

  /**
   * Another play.
   * @param {Play} play
   * @param {{num: number, den: number}} rate pictures a second
   * @param {string[]} addresses of the clip of each view
   */
  bring(play, rate, addresses) {
    this.#angles = play.angles;
    this.#rate = rate;
    const videos = addresses.map((address, k) => this.#video(address, k));
    this.#part("pictures").replaceChildren(...videos);
    this.#part("angles").replaceChildren(...play.angles.map((angle, k) => this.#choice(angle, k)));
    this.#scrub.max = String(play.frames - 1);
    this.#views = new Views(videos, play.angles, { ...rate, frames: play.frames }, () => this.#draw());
    this.#draw();
  }

  /** From the beginning, at full speed. */
  rewind() {
    const full = this.querySelector('[data-speed="1"]');
    if (full instanceof HTMLElement) this.#pace(full);
    this.#views?.stand(0);
  }

  stop() {
    this.#views?.stop();
  }

  /** Nothing is left to be seen. */
  clear() {
    this.#views = undefined;
    this.#part("pictures").replaceChildren();
  }

  /** To be called with each picture of the screen. */
  follow() {
    this.#views?.follow();
  }

  /**
   * The picture that is seen: which view, which frame of its clip, and how that is said. It stands from now on.
   * @returns {{angle: number, frame: number, words: string} | null} null before the view begins
   */
  here() {
    const views = this.#views;
    const angle = this.#angles[views?.angle ?? 0];
    const frame = views && angle ? within(angle, views.frame) : null;
    if (!views || !angle || frame === null) return null;
    views.stop();
    const words = this.#angles.length > 1 ? `${this.#at(views.frame)}, ${angle.label}` : this.#at(views.frame);
    return { angle: views.angle, frame, words };
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (!this.checkVisibility() || event.ctrlKey || event.metaKey || event.altKey) return;
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (step) this.#step(step);
    else if (event.key === " " && !(event.target instanceof HTMLButtonElement)) this.#views?.play();
    else if (/^[1-9]$/.test(event.key)) this.#views?.look(Number(event.key) - 1);
    else return;
    event.preventDefault();
  }

  /** @param {string} selector @returns {HTMLElement[]} */
  #all(selector) {
    return [...this.querySelectorAll(selector)].map((each) => /** @type {HTMLElement} */ (each));
  }

  /** @param {string} name @returns {HTMLElement} */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  /** @param {string} name @returns {HTMLButtonElement} */
  #button(name) {
    return /** @type {HTMLButtonElement} */ (this.#part(name));
  }

  /** @returns {HTMLInputElement} */
  get #scrub() {
    return /** @type {HTMLInputElement} */ (this.#part("scrub"));
  }

  /** @param {number} frame */
  #at(frame) {
    return clock(frame, this.#rate.num, this.#rate.den);
  }

  /** @param {string} address @param {number} k */
  #video(address, k) {
    const video = document.createElement("video");
    Object.assign(video, { muted: true, playsInline: true, disablePictureInPicture: true, hidden: k > 0 });
    video.tabIndex = -1;
    video.setAttribute("aria-label", `The play, ${this.#angles[k]?.label ?? ""}`);
    video.preload = "auto";
    video.src = address;
    return video;
  }

  /** @param {Angle} angle @param {number} k */
  #choice(angle, k) {
    const pattern = /** @type {HTMLTemplateElement} */ (this.querySelector('template[data-row="angle"]'));
    const copy = /** @type {DocumentFragment} */ (pattern.content.cloneNode(true));
    const button = /** @type {HTMLButtonElement} */ (copy.firstElementChild);
    const [name, key] = [button.querySelector("span"), button.querySelector("kbd")];
    if (name) name.textContent = angle.label;
    if (key) key.textContent = String(k + 1);
    button.onclick = () => this.#views?.look(k);
    return button;
  }

  /** What is seen, as the buttons and the scrubber say it. */
  #draw() {
    const views = this.#views;
    if (!views) return;
    const { frame, angle, isPlaying } = views;
    this.#scrub.value = String(frame);
    this.#scrub.setAttribute("aria-valuetext", this.#at(frame));
    this.#part("at").textContent = this.#at(frame);
    this.#part("play").textContent = isPlaying ? "Pause" : "Play";
    const seen = this.#angles[angle];
    this.#part("nothing").hidden = !seen || within(seen, frame) !== null;
    for (const [k, each] of [...this.#part("angles").children].entries()) {
      each.setAttribute("aria-pressed", String(k === angle));
    }
  }

  /** @param {number} by frames */
  #step(by) {
    const views = this.#views;
    views?.stand(views.frame + by);
  }

  /** @param {HTMLElement} chosen */
  #pace(chosen) {
    if (this.#views) this.#views.speed = Number(chosen.dataset.speed);
    for (const each of this.#all("[data-speed]")) each.setAttribute("aria-pressed", String(each === chosen));
  }
}

customElements.define("review-play", ReviewPlay);
