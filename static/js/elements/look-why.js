/**
 * <look-why>: asks why somebody decided as they did, without a clock: every point one by one, or which of them decided
 * it by one tap, and a second answer where the card has one. The points are the same whatever was called.
 */

/** @typedef {{id: string, kind: string, number: number | null, text: string, when: string, counts: string, does_not_count: string}} Point */
/** @typedef {{whole: boolean, points: Point[], second: {question: string, answers: string[]} | null}} Why */
/** @typedef {{shows: Record<string, string>, second: string | null}} Reason */
/** @typedef {{text: string, shape?: string, number?: number | null, group?: string, value: string}} Choice */

const SHAPES = /** @type {Record<string, string>} */ ({ present: "present", absent: "absent", "can't tell": "unseen" });
const WORDS = /** @type {Record<string, string>} */ ({ "can't tell": "could not see" });
const CALM_MS = 350;

export class LookWhy extends HTMLElement {
  /**
   * Ask, and give back what was answered.
   * @param {string} decision flag or no flag
   * @param {string} word as the topic says it
   * @param {Why} why
   * @returns {Promise<Reason>}
   */
  async ask(decision, word, why) {
    for (const side of this.querySelectorAll("[data-called]")) {
      /** @type {HTMLElement} */ (side).hidden = side.getAttribute("data-called") !== decision;
    }
    this.#part("called").textContent = word.toLowerCase();
    this.#calm();
    const shows = why.whole ? await this.#askEach(why.points) : await this.#askOne(why.points);
    const second = why.second ? await this.#askSecond(why.second) : null;
    return { shows, second };
  }

  /** The tap that decided must not press what comes up under the finger. */
  #calm() {
    this.inert = true;
    setTimeout(() => {
      this.inert = false;
      this.#focus();
    }, CALM_MS);
  }

  /** Whoever works by keyboard goes on from the first answer. */
  #focus() {
    const first = this.querySelector("[data-ask]:not([hidden]) button:not([data-part])");
    if (matchMedia("(pointer: fine)").matches) /** @type {HTMLElement | null} */ (first)?.focus();
  }

  /**
   * @param {string} name
   * @returns {HTMLElement}
   */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  /** @param {string} name */
  #show(name) {
    for (const section of this.querySelectorAll("[data-ask]")) {
      /** @type {HTMLElement} */ (section).hidden = section.getAttribute("data-ask") !== name;
    }
    scrollTo(0, 0);
  }

  /**
   * @param {string} name
   * @returns {HTMLElement}
   */
  #row(name) {
    const pattern = /** @type {HTMLTemplateElement} */ (this.querySelector(`template[data-row="${name}"]`));
    const copy = /** @type {DocumentFragment} */ (pattern.content.cloneNode(true));
    return /** @type {HTMLElement} */ (copy.firstElementChild);
  }

  /**
   * Every point one by one; answered ones stand above and can be answered anew.
   * @param {Point[]} points
   * @returns {Promise<Record<string, string>>}
   */
  async #askEach(points) {
    this.#show("each");
    /** @type {string[]} */
    const said = [];
    for (let k = 0; k < points.length; ) {
      this.#tell(points, k);
      this.#list(points, said, k);
      const chosen = await this.#chosen();
      if (typeof chosen === "number") {
        k = chosen;
      } else {
        said[k] = chosen;
        k = Math.max(k + 1, said.length);
      }
    }
    return Object.fromEntries(points.map((point, k) => [point.id, said[k] ?? "can't tell"]));
  }

  /** @type {(chosen: string | number) => void} */
  #choose = () => {};

  /** @returns {Promise<string | number>} what was chosen, or the point to go back to */
  #chosen() {
    return new Promise((choose) => {
      this.#choose = choose;
    });
  }

  /** @param {Point[]} points @param {number} k */
  #tell(points, k) {
    const point = points[k];
    if (!point) return;
    this.#part("point-number").textContent = point.number === null ? "" : String(point.number);
    this.#part("point-text").textContent = point.text;
    this.#part("point-when").textContent = point.when && `${point.when}.`.replace(/\.\.$/, ".");
    const counts = point.counts && `Counts: ${lower(point.counts)}`;
    const not = point.does_not_count && `Does not: ${lower(point.does_not_count)}`;
    this.#part("point-hint").textContent = [counts, not].filter(Boolean).join(" ");
    this.#part("count").textContent = `${k + 1} of ${points.length}`;
    const back = this.#part("back");
    back.hidden = k === 0;
    back.textContent = `Back to ${k}`;
    back.onclick = () => this.#choose(k - 1);
    for (const button of this.querySelectorAll("[data-presence]")) {
      const presence = button.getAttribute("data-presence") ?? "";
      /** @type {HTMLElement} */ (button).onclick = () => this.#choose(presence);
    }
  }

  /** @param {Point[]} points @param {string[]} said @param {number} present the one that is being asked */
  #list(points, said, present) {
    const rows = said.map((what, k) => {
      const row = this.#row("answered");
      const [number, text, word] = [".n", ".text", "strong"].map((each) => row.querySelector(each));
      if (number) number.textContent = String(points[k]?.number ?? "");
      if (text) text.textContent = points[k]?.text ?? "";
      if (word) word.textContent = WORDS[what] ?? what;
      this.#draw(row, SHAPES[what] ?? "unseen");
      const button = row.querySelector("button");
      if (button) button.onclick = () => this.#choose(k);
      row.hidden = k === present;
      return row;
    });
    this.#part("answered").replaceChildren(...rows);
    this.#part("point").scrollIntoView({ block: "nearest" });
  }

  /** @param {HTMLElement} row @param {string} shape */
  #draw(row, shape) {
    row.querySelector("use")?.setAttribute("href", `${this.dataset.shapes}#${shape}`);
  }

  /**
   * One tap: which of them decided it.
   * @param {Point[]} points
   * @returns {Promise<Record<string, string>>}
   */
  async #askOne(points) {
    this.#show("one");
    const groups = /** @type {Record<string, string>} */ ({
      element: "This was missing:",
      exception: "This took it away:",
      "non-factor": "It was this:",
    });
    const chosen = await this.#pick(this.#part("points"), [
      { text: "Everything was there, and nothing took it away", shape: "present", value: "present:" },
      ...points.map((point) => ({
        text: point.text,
        number: point.number,
        group: groups[point.kind] ?? "",
        value: `${point.kind === "exception" ? "present" : "absent"}:${point.id}`,
      })),
      { text: "Could not see: never a wrong answer", shape: "unseen", group: "", value: "can't tell:" },
    ]);
    const [what = "", of = ""] = chosen.split(":");
    return { [of]: what };
  }

  /** @param {{question: string, answers: string[]}} second */
  #askSecond(second) {
    this.#part("question").textContent = second.question;
    this.#show("second");
    const choices = second.answers.map((text) => ({ text: text.charAt(0).toUpperCase() + text.slice(1), value: text }));
    const picked = this.#pick(this.#part("seconds-list"), choices);
    this.#focus();
    return picked;
  }

  /**
   * A list of which one is tapped.
   * @param {HTMLElement} list
   * @param {Choice[]} choices
   * @returns {Promise<string>}
   */
  #pick(list, choices) {
    return new Promise((picked) => {
      /** @type {HTMLElement[]} */
      const rows = [];
      let group = "";
      for (const choice of choices) {
        if (choice.group && choice.group !== group) {
          const head = this.#row("group");
          head.textContent = choice.group;
          rows.push(head);
        }
        group = choice.group ?? "";
        rows.push(this.#choice(choice, picked));
      }
      list.replaceChildren(...rows);
    });
  }

  /** @param {Choice} choice @param {(value: string) => void} picked */
  #choice(choice, picked) {
    const row = this.#row(choice.shape ? "shape" : "point");
    const [number, text] = [row.querySelector(".n"), row.querySelector(".text")];
    if (choice.shape) this.#draw(row, choice.shape);
    if (number) number.textContent = String(choice.number ?? "");
    if (text) text.textContent = choice.text;
    const button = row.querySelector("button");
    if (button) button.onclick = () => picked(choice.value);
    return row;
  }
}

/**
 * The first letter small, to stand in the middle of a sentence.
 * @param {string} text
 */
function lower(text) {
  return text.charAt(0).toLowerCase() + text.slice(1);
}

customElements.define("look-why", LookWhy);
