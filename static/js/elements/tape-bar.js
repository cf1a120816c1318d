/**
 * <tape-bar>: the tape under the picture. Shows a stretch of the recording with the marks planted on it as pennons, the
 * part that the clip keeps, and where one stands; pressing or dragging on it asks for a frame by the event `seek`.
 */

import { following, frameAtPlace, heights, opening, place, zoomed } from "../lib/tape-window.js";

const LEAST_ROWS = 2;

/** @typedef {{name: string, frame: number}} Planted */

class TapeBar extends HTMLElement {
  /** @type {import("../lib/tape-window.js").Stretch | null} */
  #stretch = null;
  /** @type {(() => void)} */
  #again = () => {};

  connectedCallback() {
    const bar = this.#part("bar");
    const at = (/** @type {PointerEvent} */ event) => {
      const box = bar.getBoundingClientRect();
      if (this.#stretch) this.#ask(frameAtPlace((event.clientX - box.left) / box.width, this.#stretch));
    };
    bar.addEventListener("pointerdown", (event) => {
      bar.setPointerCapture(event.pointerId);
      at(event);
    });
    bar.addEventListener("pointermove", (event) => {
      if (bar.hasPointerCapture(event.pointerId)) at(event);
    });
    new ResizeObserver(() => this.#again()).observe(this);
  }

  /**
   * @param {string} name
   * @returns {HTMLElement}
   */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  /** @param {number} frame */
  #ask(frame) {
    this.dispatchEvent(new CustomEvent("seek", { detail: frame, bubbles: true }));
  }

  /**
   * Closer or wider around a frame.
   * @param {number} factor
   * @param {number} at
   * @param {number} frames
   */
  zoom(factor, at, frames) {
    if (this.#stretch) this.#stretch = zoomed(this.#stretch, at, factor, frames);
  }

  /**
   * @param {number} at where one stands
   * @param {Planted[]} planted the marks that are set
   * @param {{num: number, den: number, frames: number}} clockwork of the recording
   */
  draw(at, planted, clockwork) {
    this.#again = () => this.draw(at, planted, clockwork);
    const second = clockwork.num / clockwork.den;
    const marks = planted.map((mark) => mark.frame);
    this.#stretch ??= opening(marks, at, Math.max(1, Math.round(second)), clockwork.frames);
    this.#stretch = following(this.#stretch, at, clockwork.frames);
    const stretch = this.#stretch;
    set(this, "--second", second / (stretch.end - stretch.first));
    set(this.#part("head"), "--at", place(at, stretch));
    this.#keep(planted, stretch);
    this.#plant(planted, stretch);
  }

  /**
   * @param {Planted[]} planted
   * @param {import("../lib/tape-window.js").Stretch} stretch
   */
  #keep(planted, stretch) {
    const kept = this.#part("kept");
    const first = planted.find((mark) => mark.name === "in_frame")?.frame;
    const last = planted.find((mark) => mark.name === "out_frame")?.frame;
    kept.hidden = first === undefined || last === undefined || last < first;
    set(kept, "--at", Math.max(0, place(first ?? 0, stretch)));
    set(kept, "--to", Math.min(1, place((last ?? 0) + 1, stretch)));
  }

  /**
   * @param {Planted[]} planted
   * @param {import("../lib/tape-window.js").Stretch} stretch
   */
  #plant(planted, stretch) {
    /** @type {{staff: HTMLElement, at: number, x: number, width: number}[]} */
    const there = [];
    for (const pennon of /** @type {NodeListOf<HTMLElement>} */ (this.querySelectorAll("[data-goto]"))) {
      const staff = /** @type {HTMLElement} */ (pennon.parentElement);
      const mark = planted.find((each) => each.name === pennon.dataset.goto);
      const at = mark ? place(mark.frame, stretch) : -1;
      staff.hidden = at < 0 || at > 1;
      const [width, x] = [pennon.offsetWidth, at * this.clientWidth];
      const isLeftwards = !staff.hidden && x + width > this.clientWidth;
      staff.classList.toggle("leftwards", isLeftwards);
      if (!staff.hidden) there.push({ staff, at, x: isLeftwards ? x - width : x, width });
    }
    there.sort((one, two) => one.x - two.x);
    const found = heights(there);
    set(this, "--rows", Math.max(LEAST_ROWS, 1 + Math.max(0, ...found)));
    found.forEach((height, n) => {
      const each = there[n];
      if (!each) return;
      set(each.staff, "--at", each.at);
      set(each.staff, "--height", height);
    });
  }
}

/**
 * @param {HTMLElement} element
 * @param {string} name
 * @param {number} value
 */
function set(element, name, value) {
  element.style.setProperty(name, String(value));
}

customElements.define("tape-bar", TapeBar);

export { TapeBar };
