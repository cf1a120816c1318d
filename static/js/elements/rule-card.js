/**
 * <rule-card>: keys a play by the card of the chosen topic. Quick key: one ruling, one reason, by one key each. Full
 * key: every row present, absent or can't tell, at a frame. What the card gives is said as one chooses, and where the
 * ruling disagrees, both ways out are offered.
 */

import { live, quickShows } from "../lib/ruling.js";

const NEXT = new Map([
  ["", "present"],
  ["present", "absent"],
  ["absent", "can't tell"],
  ["can't tell", "present"],
]);
const TYPING = "input:not([type=radio], [type=checkbox], [type=range]), textarea, select";

class RuleCardElement extends HTMLElement {
  connectedCallback() {
    this.form = /** @type {HTMLFormElement} */ (this.closest("form"));
    this.desk = /** @type {import("./marking-desk.js").MarkingDesk} */ (this.closest("marking-desk"));
    document.addEventListener("keydown", (event) => this.#key(event));
    this.form.addEventListener("change", (event) => this.#chosen(/** @type {HTMLInputElement} */ (event.target)));
    this.addEventListener("click", (event) => this.#press(event));
    this.form.addEventListener("restored", () => this.draw());
    this.#turn();
    this.draw();
  }

  /** The fieldset of the chosen topic. */
  get #card() {
    return /** @type {HTMLFieldSetElement} */ (this.querySelector(`fieldset[data-card="${this.#value("topic")}"]`));
  }

  /** @returns {HTMLElement[]} */
  get #rows() {
    return Array.from(this.#card.querySelectorAll("[data-of]"));
  }

  /** What the card needs to rule. */
  get #rules() {
    const of = (/** @type {string} */ kind) =>
      this.#rows.filter((row) => row.dataset.kind === kind).map((row) => row.dataset.of ?? "");
    return { elements: of("element"), exceptions: of("exception"), inDoubt: this.#card.dataset.doubt ?? "no flag" };
  }

  /** @param {string} name */
  #value(name) {
    const chosen = new FormData(this.form).get(name);
    return typeof chosen === "string" ? chosen : "";
  }

  /**
   * @param {string} name
   * @param {string} value
   */
  #choose(name, value) {
    const escaped = CSS.escape(value);
    const field = /** @type {HTMLInputElement | null | undefined} */ (
      this.form?.querySelector(`input[name="${name}"][value="${escaped}"]:enabled`)
    );
    if (!field) return;
    field.checked = true;
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }

  /** @param {HTMLInputElement} field */
  #chosen(field) {
    if (field.name === "topic") this.#turn();
    if (field.name === "how" && field.value === "full") this.#fill();
    if (field.name === "reason") this.#choose("ruling", "no flag");
    this.draw();
  }

  /** Turn to the card of the chosen topic; what stands on the others is not sent. */
  #turn() {
    const cards = /** @type {NodeListOf<HTMLFieldSetElement>} */ (
      this.form?.querySelectorAll("fieldset[data-card]") ?? []
    );
    for (const card of cards) {
      card.hidden = card.dataset.card !== this.#value("topic");
      card.disabled = card.hidden;
    }
  }

  /** Say in full what the quick key stood for, as long as nothing has been said in full. */
  #fill() {
    if (this.#rows.some((row) => this.#value(`shows.${row.dataset.of}`))) return;
    const ruling = this.#value("ruling");
    if (!ruling) return;
    for (const [of, shows] of Object.entries(quickShows(this.#rules, ruling, this.#value("reason")))) {
      this.#choose(`shows.${of}`, shows);
    }
  }

  /** What the picture shows, by the key that is in use. */
  #shows() {
    if (this.#value("how") === "quick") return quickShows(this.#rules, this.#value("ruling"), this.#value("reason"));
    return Object.fromEntries(this.#rows.map((row) => [row.dataset.of ?? "", this.#value(`shows.${row.dataset.of}`)]));
  }

  /** Say what the card gives, and whether the ruling agrees. */
  draw() {
    const ruling = this.#value("ruling");
    const incomplete =
      !ruling || (this.#value("how") === "quick" && ruling === "no flag" && this.#value("reason") === "");
    const given = live(this.#rules, this.#shows(), ruling === "leave it");
    for (const part of /** @type {NodeListOf<HTMLElement>} */ (this.querySelectorAll("[data-given]"))) {
      part.hidden = incomplete || part.dataset.given !== given.ruling;
    }
    this.#part("because").textContent = incomplete ? "Nothing is keyed yet." : this.#because(given);
    const keyed = ruling === "leave it" ? "no flag" : ruling;
    const differs = !incomplete && keyed !== given.ruling;
    this.#part("differs").hidden = !differs;
    this.#part("look-again").hidden = given.reasons.length === 0;
    this.#part("look-again").textContent = `Look at ${this.#number(given.reasons[0])} again`;
    this.#part("change").textContent = `Change to ${this.#word(given.ruling)}`;
    for (const row of this.#rows) row.classList.toggle("leaf", given.reasons.includes(row.dataset.of ?? ""));
  }

  /** @param {import("../lib/ruling.js").Judgement} given */
  #because(given) {
    if (given.left) return ", left although all is present";
    if (!given.decided) return ", as the card has it in doubt";
    const first = given.reasons[0];
    if (first === undefined) return ", because all is present and nothing lifts it";
    return `, because ${this.#number(first)} is ${this.#rules.elements.includes(first) ? "absent" : "present"}`;
  }

  /** @param {string | undefined} of */
  #number(of) {
    return this.#rows.find((row) => row.dataset.of === of)?.dataset.n ?? "";
  }

  /** @param {string} ruling */
  #word(ruling) {
    const word = ruling === "flag" ? this.#card.dataset.flag : this.#card.dataset.noFlag;
    return (word ?? ruling).toLowerCase();
  }

  /**
   * @param {string} name
   * @returns {HTMLElement}
   */
  #part(name) {
    return /** @type {HTMLElement} */ (
      this.#card.querySelector(`[data-part="${name}"]`) ?? this.querySelector(`[data-part="${name}"]`)
    );
  }

  /** @param {MouseEvent} event */
  #press(event) {
    const button = /** @type {HTMLElement} */ (event.target).closest("button");
    if (button?.dataset.here) this.#prove(button.dataset.here);
    if (button?.dataset.part === "look-again") this.#lookAgain();
    if (button?.dataset.part === "change") {
      this.#choose("ruling", live(this.#rules, this.#shows()).ruling);
    }
  }

  /**
   * Note the frame under the eyes as the one that proves a row.
   * @param {string} of
   */
  #prove(of) {
    const { recording, frame } = this.desk?.view ?? { recording: "", frame: 0 };
    for (const [name, value] of [
      [`frame.${of}`, String(frame)],
      [`view.${of}`, recording],
    ]) {
      const field = /** @type {HTMLInputElement | null} */ (this.#card.querySelector(`[name="${name}"]`));
      if (field) field.value = value ?? "";
    }
    this.form?.dispatchEvent(new Event("change"));
  }

  #lookAgain() {
    const of = live(this.#rules, this.#shows()).reasons[0];
    const frame = this.#value(`frame.${of}`) || this.#value("decisive");
    if (frame) this.desk?.show(Number(frame));
    this.#choose("how", "full");
    /** @type {HTMLElement | null} */ (this.#card.querySelector(`[data-of="${of}"] input:checked`))?.focus();
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const target = /** @type {HTMLElement} */ (event.target);
    if (event.ctrlKey || event.metaKey || event.altKey || target.matches(TYPING)) return;
    const letter = event.key.toLowerCase();
    if (letter === "f" || letter === "n") this.#choose("ruling", letter === "f" ? "flag" : "no flag");
    else if (letter === "q") this.#choose("how", this.#value("how") === "quick" ? "full" : "quick");
    else if (/^[1-9]$/.test(event.key)) this.#row(Number(event.key));
    else return;
    event.preventDefault();
  }

  /**
   * Quick key: this row is the reason. Full key: its next finding, proved by the frame under the eyes.
   * @param {number} number of the row, from 1
   */
  #row(number) {
    const of = this.#rows[number - 1]?.dataset.of;
    if (!of) return;
    if (this.#value("how") === "quick") {
      this.#choose("reason", of);
      return;
    }
    this.#choose(`shows.${of}`, NEXT.get(this.#value(`shows.${of}`)) ?? "present");
    this.#prove(of);
  }
}

customElements.define("rule-card", RuleCardElement);
