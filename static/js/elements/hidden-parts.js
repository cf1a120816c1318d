// <hidden-parts>: boxes drawn on a clip's picture, which quizzes will hide. A drag fills in the form's numbers; what is
// hidden already is shown where it lies and when. Without this script the numbers are typed.

/** @typedef {{left: number, top: number, width: number, height: number}} Box */

class HiddenParts extends HTMLElement {
  #drawn = document.createElement("span");
  /** @type {{x: number, y: number} | null} */
  #began = null;

  connectedCallback() {
    const stage = this.#stage;
    if (!stage || !this.#video) return;
    this.#drawn.className = "hidden-part drawn";
    stage.append(this.#drawn);
    stage.addEventListener("pointerdown", (event) => this.#begin(event));
    stage.addEventListener("pointermove", (event) => this.#draw(event));
    stage.addEventListener("pointerup", () => {
      this.#began = null;
    });
    this.addEventListener("click", (event) => this.#act(event));
    this.addEventListener("input", () => this.#look());
    this.#video.addEventListener("loadedmetadata", () => this.#look(), { once: true });
    this.#look();
  }

  /** @returns {HTMLElement | null} */
  get #stage() {
    return this.querySelector("[data-part='stage']");
  }

  get #video() {
    return this.querySelector("video");
  }

  get #place() {
    const found = this.querySelector("input[type='range']");
    return found instanceof HTMLInputElement ? found : null;
  }

  get #frame() {
    return Number(this.#place?.value ?? 0);
  }

  /** @param {string} name */
  #field(name) {
    const found = this.querySelector(`[name='${name}']`);
    return found instanceof HTMLInputElement ? found : null;
  }

  /** @param {PointerEvent} event */
  #begin(event) {
    event.preventDefault();
    this.#stage?.setPointerCapture(event.pointerId);
    this.#began = this.#at(event);
  }

  /** @param {PointerEvent} event */
  #draw(event) {
    if (!this.#began) return;
    const [one, two] = [this.#began, this.#at(event)];
    const box = { left: Math.min(one.x, two.x), top: Math.min(one.y, two.y), width: 0, height: 0 };
    box.width = Math.abs(one.x - two.x);
    box.height = Math.abs(one.y - two.y);
    for (const [name, value] of Object.entries(box)) {
      const field = this.#field(name);
      if (field) field.value = String(value);
    }
    this.#look();
  }

  /**
   * Where a pointer is, in even pixels of the picture.
   * @param {PointerEvent} event
   */
  #at(event) {
    const shown = this.#stage?.getBoundingClientRect() ?? new DOMRect(0, 0, 1, 1);
    const across = ((event.clientX - shown.left) / shown.width) * Number(this.dataset.width);
    const down = ((event.clientY - shown.top) / shown.height) * Number(this.dataset.height);
    return { x: even(across, Number(this.dataset.width)), y: even(down, Number(this.dataset.height)) };
  }

  /** @param {Event} event */
  #act(event) {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (button?.dataset.step && this.#place) {
      this.#place.value = String(this.#frame + Number(button.dataset.step));
      this.#look();
    }
    const field = button?.dataset.here ? this.#field(button.dataset.here) : null;
    if (field) field.value = String(this.#frame);
  }

  /** Shows the frame, and of all boxes those that lie on it. */
  #look() {
    const rate = Number(this.dataset.num) / Number(this.dataset.den);
    if (this.#video) this.#video.currentTime = (this.#frame + 0.5) / rate;
    const told = this.querySelector("[data-part='frame']");
    if (told) told.textContent = String(this.#frame);
    for (const part of this.querySelectorAll(".hidden-part")) {
      if (part instanceof HTMLElement && part !== this.#drawn) this.#lay(part, read(part), this.#isOn(part));
    }
    const typed = { left: 0, top: 0, width: 0, height: 0 };
    for (const name of /** @type {(keyof Box)[]} */ (Object.keys(typed))) {
      typed[name] = Number(this.#field(name)?.value ?? 0);
    }
    this.#lay(this.#drawn, typed, typed.width > 0 && typed.height > 0);
  }

  /** @param {HTMLElement} part */
  #isOn(part) {
    const { from, to } = part.dataset;
    return (!from || this.#frame >= Number(from)) && (!to || this.#frame < Number(to));
  }

  /**
   * @param {HTMLElement} part
   * @param {Box} box
   * @param {boolean} isOn
   */
  #lay(part, box, isOn) {
    const [width, height] = [Number(this.dataset.width) / 100, Number(this.dataset.height) / 100];
    part.hidden = !isOn;
    part.style.left = `${box.left / width}%`;
    part.style.top = `${box.top / height}%`;
    part.style.width = `${box.width / width}%`;
    part.style.height = `${box.height / height}%`;
  }
}

/**
 * @param {number} value
 * @param {number} most
 */
function even(value, most) {
  return Math.max(0, Math.min(most, 2 * Math.round(value / 2)));
}

/**
 * @param {HTMLElement} part
 * @returns {Box}
 */
function read(part) {
  const { left, top, width, height } = part.dataset;
  return { left: Number(left), top: Number(top), width: Number(width), height: Number(height) };
}

customElements.define("hidden-parts", HiddenParts);
