/**
 * <send-files>: around the form for new recordings. Files are chosen or dropped, each gets its angle, and <coming-files>
 * sends them. Without this script the form goes out as a whole, as forms do.
 */

import { markOf } from "../lib/file-mark.js";
import { sizeOf } from "../lib/pace.js";
import { Refused } from "../lib/tus.js";
import "./coming-files.js";

/** @typedef {import("./coming-files.js").ComingFiles} ComingFiles */
/** @typedef {{file: File, mark: string, item: HTMLElement}} Chosen */

const SAID = ["game", "new_game", "played_on", "see", "until", "consent"];
const TICKED = ["download", "injury"];

class SendFiles extends HTMLElement {
  /** @type {Chosen[]} */
  #chosen = [];
  #batch = "";

  connectedCallback() {
    this.#batch = Array.from(crypto.getRandomValues(new Uint8Array(8)), (each) =>
      each.toString(16).padStart(2, "0"),
    ).join("");
    this.#angle = this.#form.querySelector(".field:has([name=angle])");
    for (const each of this.querySelectorAll("[data-scripted]")) /** @type {HTMLElement} */ (each).hidden = false;
    this.#input.addEventListener("change", () => this.#choose([...(this.#input.files ?? [])]));
    this.#form.addEventListener("submit", (event) => {
      if (this.#chosen.length === 0) return;
      event.preventDefault();
      void this.#send();
    });
    this.#coming.addEventListener("arrived", () => this.#head());
    this.#listenForDrops();
  }

  /** @type {Element | null} one angle for all files, as long as none is chosen */
  #angle = null;

  get #form() {
    return /** @type {HTMLFormElement} */ (this.querySelector("form"));
  }

  get #input() {
    return /** @type {HTMLInputElement} */ (this.querySelector("input[type=file]"));
  }

  get #coming() {
    return /** @type {ComingFiles} */ (this.querySelector("coming-files"));
  }

  /** @param {string} name */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  #listenForDrops() {
    const place = this.#part("drop");
    const over = (/** @type {boolean} */ is) => place.toggleAttribute("data-over", is);
    this.addEventListener("dragover", (event) => {
      if (!event.dataTransfer?.types.includes("Files")) return;
      event.preventDefault();
      over(true);
    });
    this.addEventListener("dragleave", (event) => {
      if (!(event.relatedTarget instanceof Node && this.contains(event.relatedTarget))) over(false);
    });
    this.addEventListener("drop", (event) => {
      if (!event.dataTransfer?.files.length || this.#form.hidden) return;
      event.preventDefault();
      over(false);
      void this.#choose([...event.dataTransfer.files]);
    });
  }

  /** @param {File[]} files */
  async #choose(files) {
    this.#trouble("");
    for (const file of files) await this.#add(file);
    this.#settle();
  }

  /** @param {File} file */
  async #add(file) {
    try {
      const mark = await markOf(file);
      if (this.#chosen.some((each) => each.mark === mark && each.file.name === file.name)) return;
      if (!this.#coming.goOn(file, mark)) this.#chosen.push({ file, mark, item: this.#row(file) });
    } catch {
      this.#trouble(`${file.name} cannot be read. If it is a folder, choose the files in it.`);
    }
  }

  /** @param {File} file */
  #row(file) {
    const form = /** @type {HTMLTemplateElement} */ (this.querySelector("template[data-row=chosen]"));
    const copy = /** @type {DocumentFragment} */ (form.content.cloneNode(true));
    const item = /** @type {HTMLElement} */ (copy.firstElementChild);
    for (const place of item.querySelectorAll('[data-said="file"]')) place.textContent = file.name;
    for (const place of item.querySelectorAll('[data-said="size"]')) place.textContent = sizeOf(file.size);
    item.querySelector("button")?.addEventListener("click", () => this.#leaveOut(item));
    this.#part("chosen").append(item);
    return item;
  }

  /** @param {HTMLElement} item */
  #leaveOut(item) {
    this.#chosen = this.#chosen.filter((each) => each.item !== item);
    item.remove();
    this.#settle();
    this.#input.focus();
  }

  /** The field holds the files that are chosen, the list shows them, and each asks for its angle. */
  #settle() {
    const held = new DataTransfer();
    for (const { file } of this.#chosen) held.items.add(file);
    this.#input.files = held.files;
    this.#part("chosen").hidden = this.#chosen.length === 0;
    if (this.#chosen.length) this.#angle?.remove();
    else this.#part("drop").after(this.#angle ?? "");
  }

  async #send() {
    this.#trouble("");
    const said = this.#said();
    const outgoing = this.#chosen.map(({ file, mark, item }) => ({
      file,
      said: { ...said, filename: file.name, angle: item.querySelector("input")?.value ?? "", mark, batch: this.#batch },
    }));
    const button = /** @type {HTMLButtonElement} */ (this.#form.querySelector("button.go"));
    button.disabled = true;
    try {
      await this.#coming.take(outgoing);
      this.#form.hidden = true;
      this.#head();
      this.#part("heading").focus();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.#wrong(error);
    } finally {
      button.disabled = false;
    }
  }

  /** What the form says of all files: its fields by name. */
  #said() {
    const data = new FormData(this.#form);
    const words = SAID.map((name) => [name, String(data.get(name) ?? "")]);
    return Object.fromEntries([...words, ...TICKED.map((name) => [name, data.has(name) ? "yes" : ""])]);
  }

  /** @param {Refused} refused */
  #wrong(refused) {
    const fields = Object.entries(refused.about).filter(([name]) => this.#form.elements.namedItem(name));
    for (const [name, words] of fields) this.#mark(name, words);
    if (fields.length === 0) this.#trouble(Object.values(refused.about).join(" ") || refused.message);
    const first = this.#form.querySelector('[aria-invalid="true"]');
    if (first instanceof HTMLElement) first.focus();
  }

  /**
   * Say at a field what is wrong with it.
   * @param {string} name
   * @param {string} words
   */
  #mark(name, words) {
    const field = /** @type {HTMLElement} */ (this.#form.elements.namedItem(name));
    const note = Object.assign(document.createElement("span"), { className: "trouble-of-field", textContent: words });
    note.id = `${name}-trouble`;
    document.getElementById(note.id)?.remove();
    field.after(note);
    field.setAttribute("aria-invalid", "true");
    field.setAttribute("aria-describedby", `${name}-hint ${note.id}`);
  }

  /** @param {string} words "" when all is well again */
  #trouble(words) {
    const line = this.#part("trouble");
    line.hidden = words === "";
    line.textContent = words;
    if (words) return;
    for (const each of this.#form.querySelectorAll('[aria-invalid="true"]')) {
      each.removeAttribute("aria-invalid");
      document.getElementById(`${each.getAttribute("name")}-trouble`)?.remove();
    }
  }

  /** The heading says what is so: how many files are still to come, or that all are here. */
  #head() {
    if (!this.#form.hidden) return;
    const left = this.#coming.left;
    const words = left === 1 ? "One file is on its way." : `${left} files are on their way.`;
    this.#part("heading").textContent = left ? words : "All files are here.";
    this.#part("keep").hidden = left === 0;
    this.#part("done").hidden = left > 0;
  }
}

customElements.define("send-files", SendFiles);
