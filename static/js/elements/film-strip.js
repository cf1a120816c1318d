// <film-strip>: a recording from beginning to end in small pictures with its sound below, for the video beside it.
// Where one points, the video goes; the arrow keys move a tenth, Home and End to the ends.

import { cellsAcross, columns, frameAt, placeOf } from "../lib/strip.js";

const PICTURES = 48;
const SOUND = 32;

/** @typedef {import("../lib/strip.js").Glance} Glance */

class FilmStrip extends HTMLElement {
  /** @type {Glance | null} */
  #glance = null;
  #sheet = new Image();
  #canvas = document.createElement("canvas");
  #watching = new ResizeObserver(() => this.#draw());

  connectedCallback() {
    this.append(this.#canvas);
    this.#watching.observe(this);
    this.#listen();
    void this.#load();
  }

  disconnectedCallback() {
    this.#watching.disconnect();
  }

  /** @returns {HTMLVideoElement | null} */
  get video() {
    const found = document.getElementById(this.dataset.video ?? "");
    return found instanceof HTMLVideoElement ? found : null;
  }

  get #rate() {
    return Number(this.dataset.num) / Number(this.dataset.den);
  }

  async #load() {
    const reply = await fetch(this.dataset.glance ?? "");
    if (!reply.ok) return;
    this.#glance = await reply.json();
    this.#sheet.src = this.dataset.sheet ?? "";
    await this.#sheet.decode();
    this.#draw();
  }

  #listen() {
    this.addEventListener("pointerdown", (event) => this.#point(event));
    this.addEventListener("pointermove", (event) => {
      if (event.buttons === 1) this.#point(event);
    });
    this.addEventListener("keydown", (event) => this.#key(event));
    this.video?.addEventListener("timeupdate", () => this.#draw());
    this.video?.addEventListener("seeked", () => this.#draw());
  }

  /** @param {PointerEvent} event */
  #point(event) {
    const box = this.getBoundingClientRect();
    if (this.#glance) this.#go(frameAt(this.#glance.frames, event.clientX - box.left, box.width));
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (!this.#glance) return;
    const { frames } = this.#glance;
    const step = Math.max(1, Math.round(frames / 10));
    const to = { ArrowLeft: this.#frame - step, ArrowRight: this.#frame + step, Home: 0, End: frames - 1 }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    this.#go(Math.min(frames - 1, Math.max(0, to)));
  }

  get #frame() {
    return Math.floor((this.video?.currentTime ?? 0) * this.#rate + 0.01);
  }

  /** @param {number} frame */
  #go(frame) {
    if (this.video) this.video.currentTime = (frame + 0.5) / this.#rate;
  }

  #draw() {
    const glance = this.#glance;
    const width = Math.round(this.clientWidth);
    const pen = this.#canvas.getContext("2d");
    if (!(glance && pen && width && this.#sheet.complete)) return;
    const dense = devicePixelRatio || 1;
    const height = PICTURES + (glance.peaks.length ? SOUND : 0);
    this.#canvas.width = width * dense;
    this.#canvas.height = height * dense;
    pen.scale(dense, dense);
    this.#drawPictures(pen, glance, width);
    this.#drawSound(pen, glance, width);
    this.#drawPlace(pen, glance, width, height);
  }

  /** @param {CanvasRenderingContext2D} pen @param {Glance} glance @param {number} width */
  #drawPictures(pen, glance, width) {
    const [cellWidth, cellHeight] = glance.cell;
    const drawn = (cellWidth * PICTURES) / cellHeight;
    for (const { x, cell } of cellsAcross(glance, width, drawn)) {
      const from = placeOf(glance, cell);
      pen.drawImage(this.#sheet, from.x, from.y, cellWidth, cellHeight, x, 0, drawn, PICTURES);
    }
  }

  /** @param {CanvasRenderingContext2D} pen @param {Glance} glance @param {number} width */
  #drawSound(pen, glance, width) {
    pen.fillStyle = getComputedStyle(this).color;
    const middle = PICTURES + SOUND / 2;
    for (const [x, loud] of columns(glance.peaks, width).entries()) {
      const tall = Math.max(1, loud * (SOUND - 4));
      pen.fillRect(x, middle - tall / 2, 1, tall);
    }
  }

  /** @param {CanvasRenderingContext2D} pen @param {Glance} glance @param {number} width @param {number} height */
  #drawPlace(pen, glance, width, height) {
    const x = Math.min(width - 2, (this.#frame / glance.frames) * width);
    pen.fillStyle = getComputedStyle(this).accentColor;
    pen.fillRect(x - 1, 0, 3, height);
    this.setAttribute("aria-valuenow", String(this.#frame));
    this.setAttribute("aria-valuemax", String(glance.frames - 1));
  }
}

customElements.define("film-strip", FilmStrip);
