// <live-part>: a part of a page that depends on a form (`data-form`: its id). When the form changes, the page is asked
// for anew with what stands in the form, and this part is taken from it. Without this script a button does the same.

const PAUSE_MS = 250;

class LivePart extends HTMLElement {
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  #timer;
  #asked = 0;

  connectedCallback() {
    this.#form?.addEventListener("input", this.#later);
  }

  disconnectedCallback() {
    this.#form?.removeEventListener("input", this.#later);
    clearTimeout(this.#timer);
  }

  /** @returns {HTMLFormElement | null} */
  get #form() {
    const found = document.getElementById(this.dataset.form ?? "");
    return found instanceof HTMLFormElement ? found : null;
  }

  #later = () => {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => void this.#renew(), PAUSE_MS);
  };

  async #renew() {
    if (!this.#form) return;
    const asked = ++this.#asked;
    this.setAttribute("aria-busy", "true");
    try {
      const reply = await fetch(address(this.#form), { headers: { accept: "text/html" } });
      const page = new DOMParser().parseFromString(await reply.text(), "text/html");
      const fresh = reply.ok ? page.getElementById(this.id) : null;
      if (fresh && asked === this.#asked) this.replaceChildren(...fresh.childNodes);
    } catch {
      // The network is away: what stands here is what was known last.
    }
    if (asked === this.#asked) this.removeAttribute("aria-busy");
  }
}

/**
 * The page's own address with what stands in a form.
 * @param {HTMLFormElement} form
 */
function address(form) {
  const fields = new URLSearchParams();
  for (const [name, value] of new FormData(form)) {
    if (typeof value === "string" && name !== "form_token") fields.append(name, value);
  }
  return `${location.pathname}?${fields}`;
}

customElements.define("live-part", LivePart);
