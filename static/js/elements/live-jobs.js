// <live-jobs>: keeps the progress of the jobs inside it up to date. Rows carry `data-job` and `data-state`; when one of
// them comes to its end or begins, the inside is fetched anew from the page itself. With `all`, new jobs count too.
// With `data-from`, rows are fetched one by one from that page, by their ids; all else inside is somebody else's.

const NEAR_MS = 1000;
const FAR_MS = 5000;

/** @typedef {{id: string, state: string, share: number, doing: string}} JobState */

export class LiveJobs extends HTMLElement {
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  #timer;

  connectedCallback() {
    this.#wait();
  }

  disconnectedCallback() {
    clearTimeout(this.#timer);
  }

  /** Begin to look after rows that were not here before. */
  watch() {
    clearTimeout(this.#timer);
    this.#wait();
  }

  #wait() {
    const shown = this.#rows().length > 0;
    if (!(shown || this.hasAttribute("all"))) return;
    this.#timer = setTimeout(() => this.#look(), shown ? NEAR_MS : FAR_MS);
  }

  async #look() {
    try {
      if (!document.hidden) await this.#update();
    } catch {
      // The network comes back or does not; what stands here stays as it was.
    }
    if (this.isConnected) this.#wait();
  }

  async #update() {
    const reply = await fetch("/jobs/state", { headers: { accept: "application/json" } });
    if (!reply.ok) return;
    /** @type {{jobs: JobState[]}} */
    const { jobs } = await reply.json();
    const states = new Map(jobs.map((job) => [job.id, job]));
    const rows = this.#rows();
    const changed = rows.filter((row) => states.get(row.dataset.job ?? "")?.state !== row.dataset.state);
    const added = this.hasAttribute("all") && states.size > rows.length;
    if (changed.length && this.dataset.from) await this.#renewRows(changed, this.dataset.from);
    else if (changed.length || added) await this.#renew();
    for (const row of this.#rows()) tell(row, states.get(row.dataset.job ?? ""));
  }

  /** Takes this element's inside from a fresh copy of the page; what had the focus keeps it. */
  async #renew() {
    const fresh = (await pageAt(location.href))?.getElementById(this.id);
    if (fresh) this.#keepingFocus(() => this.replaceChildren(...fresh.childNodes));
  }

  /**
   * Takes rows from a fresh copy of another page; one that it does not have stays as it is.
   * @param {HTMLElement[]} rows
   * @param {string} from
   */
  async #renewRows(rows, from) {
    const page = await pageAt(from);
    for (const row of rows) {
      const fresh = page?.getElementById(row.id);
      if (fresh) this.#keepingFocus(() => row.replaceWith(fresh));
    }
  }

  /** @param {() => void} change */
  #keepingFocus(change) {
    const focused = this.contains(document.activeElement) ? document.activeElement?.id : "";
    change();
    if (focused) document.getElementById(focused)?.focus();
  }

  /** @returns {HTMLElement[]} */
  #rows() {
    return Array.from(this.querySelectorAll("[data-job]"));
  }
}

/**
 * @param {string} address
 * @returns {Promise<Document | null>} null when there was no page
 */
async function pageAt(address) {
  const reply = await fetch(address, { headers: { accept: "text/html" } });
  return reply.ok ? new DOMParser().parseFromString(await reply.text(), "text/html") : null;
}

/**
 * @param {HTMLElement} row
 * @param {JobState | undefined} job
 */
function tell(row, job) {
  const bar = row.querySelector("progress");
  const share = row.querySelector("[data-share]");
  const doing = row.querySelector("[data-doing]");
  if (job?.state !== "running" || !bar || !share) return;
  bar.value = job.share;
  share.textContent = `${Math.floor(job.share * 100)} %`;
  if (doing && job.doing) doing.textContent = job.doing;
}

customElements.define("live-jobs", LiveJobs);
