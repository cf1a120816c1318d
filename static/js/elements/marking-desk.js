/**
 * <marking-desk>: a play is marked frame by frame, by keys that work wherever nobody is typing.
 *
 * Frames count in the recording that the desk was opened on; other angles follow in step. The marks are the form's own
 * number fields, so that everything can be typed as well, and what is drawn follows them. The rule card beside the
 * picture asks by the property `frame` where one stands, and by `view` on which angle.
 */

import { restore, stateOf } from "../lib/form-state.js";
import { Past } from "../lib/past.js";
import { Stepper } from "../lib/stepper.js";
import { bounded } from "../lib/tape-window.js";
import { clock } from "../lib/timecode.js";
import "./tape-bar.js";

const TYPING = "input:not([type=radio], [type=checkbox], [type=range]), textarea, select";
const BEFORE_S = 4;
const AFTER_S = 2;
const CLOSER = 0.5;
const WIDER = 2;

class MarkingDesk extends HTMLElement {
  /** @type {Past<(string | boolean)[]>} */
  #past = new Past();

  connectedCallback() {
    const [num, den, frames] = [Number(this.dataset.num), Number(this.dataset.den), Number(this.dataset.frames)];
    this.clockwork = { num, den, frames };
    this.form = /** @type {HTMLFormElement} */ (this.querySelector("form"));
    this.tape = /** @type {import("./tape-bar.js").TapeBar} */ (this.querySelector("tape-bar"));
    const video = /** @type {HTMLVideoElement} */ (this.querySelector("video"));
    video.controls = false; // they are for browsers that run no script
    this.stepper = new Stepper(video, this.clockwork, Number(this.dataset.at), () => this.draw());
    this.stepper.offset = this.#late;
    this.#listen();
    this.#past.keep(stateOf(this.form));
    this.draw();
    const follow = () => {
      this.stepper?.follow();
      if (this.isConnected) requestAnimationFrame(follow);
    };
    follow();
  }

  /** The frame under the eyes, in the recording that the desk was opened on. */
  get frame() {
    return this.stepper?.frame ?? 0;
  }

  /** The angle under the eyes, and the frame in its own recording. */
  get view() {
    const angle = /** @type {HTMLInputElement | null} */ (this.querySelector("[data-angle]:checked"));
    return { recording: angle?.value ?? "", frame: this.frame + Number(angle?.dataset.offset ?? 0) };
  }

  /** Frames that the clock of a file as it came has shown before the first one. */
  get #late() {
    return Number(this.dataset.late ?? 0);
  }

  /** @returns {HTMLInputElement[]} */
  get marks() {
    return Array.from(this.querySelectorAll("input[data-mark]:enabled"));
  }

  #listen() {
    document.addEventListener("keydown", (event) => this.#key(event));
    this.form?.addEventListener("input", () => this.draw());
    this.form?.addEventListener("change", () => this.#changed());
    this.addEventListener("click", (event) => this.#press(event));
    this.addEventListener("seek", (event) => this.show(/** @type {CustomEvent<number>} */ (event).detail));
    this.#part("place").addEventListener("input", (event) => {
      this.show(Number(/** @type {HTMLInputElement} */ (event.target).value));
    });
    for (const field of /** @type {NodeListOf<HTMLInputElement>} */ (this.querySelectorAll("[data-speed]"))) {
      field.addEventListener("change", () => this.#speed(field));
    }
    for (const field of /** @type {NodeListOf<HTMLInputElement>} */ (this.querySelectorAll("[data-angle]"))) {
      field.addEventListener("change", () => this.#look(field));
    }
  }

  /**
   * @param {string} name
   * @returns {HTMLElement}
   */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  #changed() {
    if (this.form) this.#past.keep(stateOf(this.form));
    this.draw();
  }

  /**
   * Stand on a frame.
   * @param {number} frame
   */
  show(frame) {
    this.stepper?.stand(frame);
  }

  /** @param {HTMLInputElement} field */
  #speed(field) {
    if (this.stepper) this.stepper.video.playbackRate = Number(field.value);
  }

  /** @param {HTMLInputElement} angle */
  #look(angle) {
    if (!this.stepper) return;
    const { video } = this.stepper;
    const speed = video.playbackRate;
    this.stepper.offset = Number(angle.dataset.offset) + this.#late;
    video.src = angle.dataset.angle ?? "";
    video.defaultPlaybackRate = speed;
  }

  /** @param {string} name */
  mark(name) {
    return this.marks.find((field) => field.name === name);
  }

  /**
   * Plant a mark where one stands. The decisive moment brings a clip around it along where none is marked yet.
   * @param {HTMLInputElement} field
   */
  plant(field) {
    field.value = String(this.frame);
    if (field.name === "decisive") {
      const second = Math.round((this.clockwork?.num ?? 1) / (this.clockwork?.den ?? 1));
      this.#suggest("in_frame", this.frame - BEFORE_S * second);
      this.#suggest("out_frame", this.frame + AFTER_S * second);
    }
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }

  /**
   * @param {string} name
   * @param {number} frame
   */
  #suggest(name, frame) {
    const field = this.mark(name);
    if (field?.value === "") field.value = String(bounded(frame, 0, (this.clockwork?.frames ?? 1) - 1));
  }

  /** @param {string} name */
  #go(name) {
    const value = this.mark(name)?.value;
    if (value) this.show(Number(value));
  }

  /** @param {MouseEvent} event */
  #press(event) {
    const data = /** @type {HTMLElement} */ (event.target).closest("button")?.dataset ?? {};
    if (data.step) this.show(this.frame + Number(data.step));
    if (data.act) this.#act(data.act);
    if (data.goto) this.#go(data.goto);
    const field = data.plant ? this.mark(data.plant) : undefined;
    if (field) this.plant(field);
  }

  /** @param {string} act */
  #act(act) {
    if (act === "play") this.stepper?.play();
    if (act === "closer" || act === "wider") this.#zoom(act === "closer" ? CLOSER : WIDER);
    if (act === "loop") this.#loop();
    if (act === "slower") this.#slower();
    if (act === "undo") this.#back(-1);
    if (act === "redo") this.#back(1);
  }

  /** @param {number} factor */
  #zoom(factor) {
    this.tape?.zoom(factor, this.frame, this.clockwork?.frames ?? 1);
    this.draw();
  }

  #loop() {
    const [first, last] = [this.mark("in_frame")?.value, this.mark("out_frame")?.value];
    if (!this.stepper || !first || !last) return;
    this.stepper.loop = this.stepper.loop ? null : { first: Number(first), last: Number(last) };
    if (this.stepper.loop && !this.stepper.isPlaying) this.stepper.play();
    this.draw();
  }

  #slower() {
    const fields = /** @type {HTMLInputElement[]} */ (Array.from(this.querySelectorAll("[data-speed]")));
    const next = fields[(fields.findIndex((field) => field.checked) + 1) % fields.length];
    if (!next) return;
    next.checked = true;
    this.#speed(next);
  }

  /** @param {-1 | 1} step */
  #back(step) {
    const state = this.#past.go(step);
    if (state === null || !this.form) return;
    restore(this.form, state);
    this.form.dispatchEvent(new Event("restored"));
    this.draw();
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const target = /** @type {HTMLElement} */ (event.target);
    if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) this.form?.requestSubmit();
    if (event.key === "Escape") target.blur();
    if (event.ctrlKey || event.metaKey || event.altKey || target.matches(TYPING)) return;
    if (this.#step(event, target) || this.#letter(event)) event.preventDefault();
  }

  /**
   * Arrows and the space bar, unless what has the focus has a use of its own for them.
   * @param {KeyboardEvent} event
   * @param {HTMLElement} target
   */
  #step(event, target) {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (step !== undefined && !target.matches("input")) {
      this.show(this.frame + step * (event.shiftKey ? 10 : 1));
      return true;
    }
    if (event.key !== " " || target.matches("button, a, summary, input")) return false;
    this.stepper?.play();
    return true;
  }

  /**
   * A mark's letter plants it, with Shift it goes there; other letters do as the line under the tape says.
   * @param {KeyboardEvent} event
   */
  #letter(event) {
    const letter = event.key.toLowerCase();
    const field = this.marks.find((mark) => mark.dataset.mark === letter);
    if (field && event.shiftKey) this.#go(field.name);
    else if (field) this.plant(field);
    if (field) return true;
    /** @type {Record<string, string>} */
    const acts = { l: "loop", s: "slower", "+": "closer", "-": "wider", z: event.shiftKey ? "redo" : "undo" };
    const act = acts[letter];
    if (act) this.#act(act);
    return act !== undefined;
  }

  /** Show where things stand: time, place in the recording, tape. */
  draw() {
    if (!this.clockwork || !this.tape || !this.stepper) return;
    const { num, den } = this.clockwork;
    this.#part("time").textContent = clock(this.frame, num, den);
    this.#part("number").textContent = `frame ${this.frame}`;
    const slider = /** @type {HTMLInputElement} */ (this.#part("place"));
    slider.value = String(this.frame);
    slider.setAttribute("aria-valuetext", clock(this.frame, num, den));
    this.#part("play").setAttribute("aria-pressed", String(this.stepper.isPlaying));
    this.#part("loop").setAttribute("aria-pressed", String(this.stepper.loop !== null));
    for (const field of this.marks) {
      const time = this.querySelector(`[data-time="${field.name}"]`);
      if (time) time.textContent = field.value === "" ? "not set" : clock(Number(field.value), num, den);
    }
    const planted = this.marks.filter((field) => field.value !== "");
    this.tape.draw(
      this.frame,
      planted.map((field) => ({ name: field.name, frame: Number(field.value) })),
      this.clockwork,
    );
  }
}

customElements.define("marking-desk", MarkingDesk);

export { MarkingDesk };
