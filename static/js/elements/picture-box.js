/**
 * <picture-box>: boxes drawn on a picture instead of typed as numbers. Each [data-box] inside holds the four fields of
 * one and stays as it is without this; data-locked: it has the shape of the picture. One drags on the picture, or
 * presses "Place it" and uses the arrow keys: alone they move the box, with Shift they size it, Delete takes it away.
 */

import { between, middle, moved, sized } from "../lib/box.js";

/** @typedef {import("../lib/box.js").Box} Box */

const SIDES = /** @type {const} */ (["left", "top", "width", "height"]);
const STEP = 2;
const FAR = 20;

class PictureBox extends HTMLElement {
  /** @type {HTMLElement | null} */
  #active = null;

  connectedCallback() {
    const stage = this.#stage;
    if (!stage) return;
    for (const group of this.#groups) this.#outfit(group);
    stage.addEventListener("pointerdown", (event) => this.#grasp(event));
    this.addEventListener("input", () => this.#draw());
    this.#draw();
  }

  get #stage() {
    return /** @type {HTMLElement | null} */ (this.querySelector("[data-part=stage]"));
  }

  /** @returns {HTMLElement[]} */
  get #groups() {
    return Array.from(this.querySelectorAll("[data-box]"));
  }

  /** @param {HTMLElement} group */
  #sheet(group) {
    const [width, height] = [Number(this.dataset.width), Number(this.dataset.height)];
    return { width, height, locked: group.dataset.locked !== undefined };
  }

  /**
   * @param {HTMLElement} group
   * @param {string} side
   */
  #field(group, side) {
    return /** @type {HTMLInputElement} */ (group.querySelector(`[data-side="${side}"]`));
  }

  /**
   * @param {HTMLElement} group
   * @returns {Box | null} null where it is not wholly given
   */
  #box(group) {
    const [left, top, width, height] = SIDES.map((side) => this.#field(group, side).valueAsNumber);
    const box = { left: left ?? Number.NaN, top: top ?? Number.NaN, width: width ?? 0, height: height ?? 0 };
    return Object.values(box).every(Number.isFinite) && box.width > 0 && box.height > 0 ? box : null;
  }

  /**
   * @param {HTMLElement} group
   * @param {Box | null} box
   */
  #set(group, box) {
    for (const side of SIDES) this.#field(group, side).value = box ? String(box[side]) : "";
    const folded = group.closest("details");
    if (folded && box) folded.open = true;
    this.#draw();
  }

  /** A box to press on the picture, and the button that places it. @param {HTMLElement} group */
  #outfit(group) {
    const name = group.dataset.box ?? "";
    const box = document.createElement("button");
    box.type = "button";
    box.className = "box";
    box.hidden = true;
    box.setAttribute("aria-label", `${name}. Arrow keys move it, with Shift they size it, Delete takes it away`);
    box.dataset.of = group.id;
    box.append(Object.assign(document.createElement("span"), { className: "tag", textContent: name }));
    box.append(Object.assign(document.createElement("span"), { className: "corner" }));
    box.addEventListener("keydown", (event) => this.#key(event, group));
    box.addEventListener("focus", () => this.#choose(group));
    this.#stage?.append(box);
    const place = /** @type {HTMLButtonElement} */ (group.querySelector("[data-part=place]"));
    place.hidden = false;
    place.addEventListener("click", () => {
      if (!this.#box(group)) this.#set(group, middle(this.#sheet(group)));
      box.focus();
    });
    group.addEventListener("focusin", () => this.#choose(group));
  }

  /** @param {HTMLElement} group */
  #choose(group) {
    this.#active = group;
    for (const each of this.#groups) this.#shape(each).toggleAttribute("data-active", each === group);
  }

  /** @param {HTMLElement} group */
  #shape(group) {
    return /** @type {HTMLElement} */ (this.querySelector(`.box[data-of="${CSS.escape(group.id)}"]`));
  }

  #draw() {
    for (const group of this.#groups) {
      const box = this.#box(group);
      const { width, height } = this.#sheet(group);
      const shape = this.#shape(group);
      shape.hidden = box === null;
      if (!box) continue;
      shape.style.left = `${(100 * box.left) / width}%`;
      shape.style.top = `${(100 * box.top) / height}%`;
      shape.style.width = `${(100 * box.width) / width}%`;
      shape.style.height = `${(100 * box.height) / height}%`;
    }
  }

  /** The place of a pointer, in pixels of the picture. @param {PointerEvent} event */
  #place(event) {
    const shown = /** @type {HTMLElement} */ (this.#stage).getBoundingClientRect();
    const x = ((event.clientX - shown.left) / shown.width) * Number(this.dataset.width);
    return { x, y: ((event.clientY - shown.top) / shown.height) * Number(this.dataset.height) };
  }

  /** Where nothing lies, a box is drawn; on one, it is moved, or sized by its corner. @param {PointerEvent} event */
  #grasp(event) {
    const target = /** @type {HTMLElement} */ (event.target);
    const on = this.#groups.find((group) => target.closest(".box") === this.#shape(group));
    const group = on ?? this.#next;
    const begun = this.#place(event);
    if (!group || event.button !== 0) return;
    event.preventDefault();
    const [sheet, before] = [this.#sheet(group), on ? this.#box(on) : null];
    const isCorner = target.classList.contains("corner");
    const follow = (/** @type {PointerEvent} */ moving) => {
      const here = this.#place(moving);
      const [dx, dy] = [here.x - begun.x, here.y - begun.y];
      if (before) this.#set(group, isCorner ? sized(before, dx, dy, sheet) : moved(before, dx, dy, sheet));
      else if (Math.hypot(dx, dy) > STEP) this.#set(group, between(begun, here, sheet));
    };
    this.#follow(event.pointerId, follow, () => this.#shape(group).focus());
    this.#choose(group);
  }

  /**
   * @param {number} pointer
   * @param {(event: PointerEvent) => void} follow
   * @param {() => void} end
   */
  #follow(pointer, follow, end) {
    const stage = /** @type {HTMLElement} */ (this.#stage);
    const over = new AbortController();
    stage.setPointerCapture(pointer);
    stage.addEventListener("pointermove", follow, { signal: over.signal });
    for (const kind of ["pointerup", "pointercancel"]) {
      stage.addEventListener(
        kind,
        () => {
          over.abort();
          end();
        },
        { signal: over.signal },
      );
    }
  }

  /** What is drawn where nothing lies: what was chosen last, else the first that is not given yet. */
  get #next() {
    return this.#active ?? this.#groups.find((group) => !this.#box(group)) ?? this.#groups[0];
  }

  /**
   * @param {KeyboardEvent} event
   * @param {HTMLElement} group
   */
  #key(event, group) {
    const box = this.#box(group);
    const far = event.ctrlKey ? FAR : STEP;
    const by = { ArrowLeft: [-far, 0], ArrowRight: [far, 0], ArrowUp: [0, -far], ArrowDown: [0, far] }[event.key];
    if (!box || !(by || event.key === "Delete")) return;
    event.preventDefault();
    if (!by) {
      this.#set(group, null);
      /** @type {HTMLElement} */ (group.querySelector("[data-part=place]")).focus();
      return;
    }
    const [dx = 0, dy = 0] = by;
    const sheet = this.#sheet(group);
    this.#set(group, event.shiftKey ? sized(box, dx, dy, sheet) : moved(box, dx, dy, sheet));
  }
}

customElements.define("picture-box", PictureBox);
