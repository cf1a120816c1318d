/**
 * <closer-look>: a picture that comes closer. A tap on a place brings that place to the middle at a larger scale, where
 * a finger, a wheel or the arrow keys move it; another tap, or the button, brings the whole back.
 */

const SCALE = 2.5;

class CloserLook extends HTMLElement {
  connectedCallback() {
    const button = this.#button;
    button.hidden = false;
    button.addEventListener("click", () => this.#turn(0.5, 0.5));
    this.#window.addEventListener("click", (event) => {
      const box = /** @type {HTMLElement} */ (this.#window.firstElementChild).getBoundingClientRect();
      this.#turn((event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
    });
  }

  get #window() {
    return /** @type {HTMLElement} */ (this.querySelector('[data-part="window"]'));
  }

  get #button() {
    return /** @type {HTMLButtonElement} */ (this.querySelector('[data-part="closer"]'));
  }

  /**
   * Closer, or the whole again.
   * @param {number} x the place that is brought to the middle, as a share of the picture's width
   * @param {number} y the same of its height
   */
  #turn(x, y) {
    const close = this.toggleAttribute("data-close");
    const frame = this.#window;
    this.#button.setAttribute("aria-pressed", String(close));
    this.#button.textContent = close ? "The whole" : "Closer";
    frame.style.setProperty("--scale", String(close ? SCALE : 1));
    if (close) frame.tabIndex = 0;
    else frame.removeAttribute("tabindex");
    frame.scrollTo(x * frame.scrollWidth - frame.clientWidth / 2, y * frame.scrollHeight - frame.clientHeight / 2);
  }
}

customElements.define("closer-look", CloserLook);
