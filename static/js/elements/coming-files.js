/**
 * <coming-files>: files on their way to the server, a row each: how far, how fast, what is in the way, cancel.
 *
 * They are sent one after another. Rows that the server draws are of files that broke off earlier: they go on once the
 * same file is chosen again. A row whose file has come in becomes a row of work, which <live-jobs> keeps up to date.
 */

import { ask } from "../lib/asking.js";
import { Pace, sizeOf, timeLeft } from "../lib/pace.js";
import { Refused, Sender } from "../lib/tus.js";
import { LiveJobs } from "./live-jobs.js";

/** @typedef {{file: File, said: Record<string, string>}} Outgoing a file, and what is said of it */

const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 15_000;
const TROUBLES = {
  lost: "The connection is lost. It goes on by itself.",
  full: "The server’s disk is full. What has come in is kept; it goes on once there is room.",
  busy: "The server cannot take it just now. It goes on by itself.",
};

class Cancelled extends Error {}

/** One row, from its announcement to its last byte. */
class Row {
  #stop = new AbortController();
  #pace = new Pace();
  /** @type {import("../lib/tus.js").Trouble} */
  #trouble = "";

  /**
   * @param {HTMLElement} item
   * @param {string} key the form's key, without which nothing is changed
   * @param {(words: string) => void} say tells it to those who cannot see the row
   */
  constructor(item, key, say) {
    this.item = item;
    this.say = say;
    this.sender = new Sender(
      (request, sent) => {
        const headers = { ...request.headers, "X-Form-Token": key };
        return ask({ ...request, headers }, sent, request.method === "DELETE" ? null : this.#stop.signal);
      },
      (tries) => this.#pause(tries),
      (trouble) => this.#tell(trouble),
    );
    this.#part("cancel").addEventListener("click", () => this.#cancel());
  }

  get name() {
    return this.item.dataset.file ?? "";
  }

  /** @param {string} name */
  #part(name) {
    return /** @type {HTMLElement} */ (this.item.querySelector(`[data-part="${name}"]`));
  }

  /**
   * @param {Outgoing} outgoing
   */
  async announce({ file, said }) {
    const { place, at } = await this.sender.announce(file.size, said);
    this.item.dataset.place = place;
    this.item.id = `recording-${place.split("/").at(-1)}`;
    this.#show(at, file.size);
    this.doing(`Waits for its turn, ${sizeOf(file.size)}`);
  }

  /** @param {File} file */
  async send(file) {
    this.item.dataset.moving = "";
    await this.sender.send(this.item.dataset.place ?? "", file, (at) => {
      this.#pace.note(at, performance.now());
      this.#show(at, file.size);
      if (!this.#trouble) this.doing(this.#going(at, file.size));
    });
  }

  /**
   * @param {number} at
   * @param {number} size
   */
  #going(at, size) {
    const speed = this.#pace.speed;
    const words = [`${sizeOf(at)} of ${sizeOf(size)}`];
    if (speed > 0) words.push(`${sizeOf(speed)} a second`, timeLeft((size - at) / speed));
    return words.join(", ");
  }

  /**
   * @param {number} at
   * @param {number} size
   */
  #show(at, size) {
    const bar = this.item.querySelector("progress");
    if (bar) [bar.max, bar.value] = [Math.max(size, 1), size ? at : 1];
    this.#part("share").textContent = `${size ? Math.floor((at / size) * 100) : 100} %`;
  }

  /** @param {string} words */
  doing(words) {
    const line = this.#part("doing");
    if (line.textContent !== words) line.textContent = words;
  }

  /** @param {import("../lib/tus.js").Trouble} trouble */
  #tell(trouble) {
    if (trouble === this.#trouble || this.#stop.signal.aborted) return;
    this.#trouble = trouble;
    this.#pace = new Pace();
    this.doing(trouble ? TROUBLES[trouble] : "Goes on");
    this.#part("doing").classList.toggle("trouble-of-field", trouble !== "");
    this.say(trouble ? `${this.name}: ${TROUBLES[trouble]}` : `${this.name} goes on.`);
  }

  /**
   * Wait before another try, for less when the network comes back meanwhile.
   * @param {number} tries
   */
  async #pause(tries) {
    const longest = Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** tries);
    await new Promise((resolve) => {
      setTimeout(resolve, longest);
      window.addEventListener("online", resolve, { once: true });
      this.#stop.signal.addEventListener("abort", resolve, { once: true });
    });
    if (this.#stop.signal.aborted) throw new Cancelled();
  }

  async #cancel() {
    this.#stop.abort();
    const place = this.item.dataset.place;
    const near = this.item.nextElementSibling ?? this.item.previousElementSibling;
    const list = this.item.parentElement;
    this.item.remove();
    if (list?.children.length === 0) list.hidden = true;
    this.say(`${this.name} was cancelled.`);
    const next = near?.querySelector("button") ?? document.querySelector("h1");
    if (next instanceof HTMLElement) next.focus();
    if (place) await this.sender.cancel(place);
  }

  /**
   * Say that it ends here, and why; a button tries once more.
   * @param {string} why
   * @param {() => void} again
   */
  refused(why, again) {
    this.#end(true);
    this.#part("why").textContent = why;
    this.say(`${this.name} was not sent. ${why}`);
    this.#part("again").onclick = () => {
      this.#end(false);
      again();
    };
  }

  /** @param {boolean} ended */
  #end(ended) {
    for (const each of this.item.querySelectorAll("[data-ended]")) {
      /** @type {HTMLElement} */ (each).hidden = (each.getAttribute("data-ended") === "yes") !== ended;
    }
  }

  /** The file is here; what becomes of it is told by the row of its job. */
  arrived() {
    this.#part("cancel").remove();
    this.doing("It is here");
    Object.assign(this.item.dataset, { job: "new", state: "sent" });
    this.say(`${this.name} is here.`);
  }
}

export class ComingFiles extends HTMLElement {
  /** @type {Promise<unknown>} files go out one after another */
  #turn = Promise.resolve();
  /** @type {Map<Element, Row>} */
  #rows = new Map();

  connectedCallback() {
    for (const item of this.#list.children) this.#row(/** @type {HTMLElement} */ (item));
  }

  get #list() {
    return /** @type {HTMLElement} */ (this.querySelector("ul"));
  }

  /** @param {HTMLElement} item */
  #row(item) {
    const made = new Row(item, this.dataset.key ?? "", (words) => this.#say(words));
    this.#rows.set(item, made);
    return made;
  }

  /** @param {string} words */
  #say(words) {
    const status = this.querySelector("[role=status]");
    if (status) status.textContent = words;
  }

  /**
   * Go on with a file that broke off; whether it is one.
   * @param {File} file
   * @param {string} mark
   */
  goOn(file, mark) {
    const items = /** @type {HTMLElement[]} */ ([...this.#list.children]);
    const item = items.find((each) => each.dataset.mark === mark && each.dataset.file === file.name);
    const row = item && this.#rows.get(item);
    if (!item || !row) return false;
    delete item.dataset.mark;
    this.#say(`${file.name} goes on.`);
    void this.#go(row, file);
    return true;
  }

  /**
   * Take files on, announcing all before the first goes out. Throws Refused when something is wrong with what is said.
   * @param {Outgoing[]} outgoing
   */
  async take(outgoing) {
    const rows = outgoing.map((each) => this.#made(each));
    const lone = [];
    for (const [n, row] of rows.entries()) {
      const each = /** @type {Outgoing} */ (outgoing[n]);
      if (n > 0) this.#begin(row);
      const announced = await this.#announced(row, each, n === 0);
      if (n === 0) this.#begin(row);
      lone.push({ row, file: each.file, announced });
    }
    for (const { row, file, announced } of lone) if (announced) void this.#go(row, file);
  }

  /** @param {Outgoing} outgoing */
  #made({ file, said }) {
    const form = /** @type {HTMLTemplateElement} */ (this.querySelector("template"));
    const copy = /** @type {DocumentFragment} */ (form.content.cloneNode(true));
    const item = /** @type {HTMLElement} */ (copy.firstElementChild);
    item.dataset.file = file.name;
    for (const [name, words] of Object.entries({ file: file.name, angle: said.angle ?? "" })) {
      for (const place of item.querySelectorAll(`[data-said="${name}"]`)) place.textContent = words;
    }
    item.querySelector("progress")?.setAttribute("aria-label", file.name);
    return this.#row(item);
  }

  /** @param {Row} row */
  #begin(row) {
    this.#list.hidden = false;
    this.#list.append(row.item);
  }

  /**
   * Announce a file; what is wrong with the form is thrown, for the first file, and all else told in the row.
   * @param {Row} row
   * @param {Outgoing} outgoing
   * @param {boolean} isFirst
   * @returns {Promise<boolean>} whether it can be sent
   */
  async #announced(row, outgoing, isFirst) {
    try {
      await row.announce(outgoing);
      return true;
    } catch (error) {
      if (error instanceof Refused && !(isFirst && Object.keys(error.about).length)) {
        row.refused(error.message, async () => {
          if (await this.#announced(row, outgoing, false)) void this.#go(row, outgoing.file);
        });
        return false;
      }
      if (error instanceof Cancelled) return false;
      throw error;
    }
  }

  /**
   * Send a file when its turn comes.
   * @param {Row} row
   * @param {File} file
   */
  async #go(row, file) {
    this.#turn = this.#turn.then(() => this.#sent(row, file));
    await this.#turn;
  }

  /**
   * @param {Row} row
   * @param {File} file
   */
  async #sent(row, file) {
    if (!row.item.isConnected) return;
    try {
      await row.send(file);
    } catch (error) {
      if (error instanceof Refused) row.refused(error.message, () => void this.#go(row, file));
      else if (!(error instanceof Cancelled)) throw error;
      return;
    }
    row.arrived();
    this.#watch();
    this.dispatchEvent(new CustomEvent("arrived"));
  }

  /** How many files are still to come of those that were chosen on this page. */
  get left() {
    return this.#list.querySelectorAll("[data-file]:not([data-job], [data-mark])").length;
  }

  #watch() {
    const live = this.closest("live-jobs");
    if (live instanceof LiveJobs) live.watch();
  }
}

customElements.define("coming-files", ComingFiles);
