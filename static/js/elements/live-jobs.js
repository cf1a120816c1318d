// <live-jobs>: keeps the progress of the jobs inside it up to date. Rows carry `data-job` and `data-state`; when one of
// them comes to its end or begins, the inside is fetched anew from the page itself. With `all`, new jobs count too.

const NEAR_MS = 1000;
const FAR_MS = 5000;

/** @typedef {{id: string, state: string, share: number, doing: string}} JobState */

class LiveJobs extends HTMLElement {
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  #timer;

  connectedCallback() {
    this.#wait();
  }

  disconnectedCallback() {
    clearTimeout(this.#timer);
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
    const changed = rows.some((row) => states.get(row.dataset.job ?? "")?.state !== row.dataset.state);
    const added = this.hasAttribute("all") && states.size > rows.length;
    if (changed || added) await this.#renew();
    for (const row of this.#rows()) tell(row, states.get(row.dataset.job ?? ""));
  }

  /** Takes this element's inside from a fresh copy of the page; what had the focus keeps it. */
  async #renew() {
    const reply = await fetch(location.href, { headers: { accept: "text/html" } });
    if (!reply.ok) return;
    const fresh = new DOMParser().parseFromString(await reply.text(), "text/html").getElementById(this.id);
    if (!fresh) return;
    const focused = this.contains(document.activeElement) ? document.activeElement?.id : "";
    this.replaceChildren(...fresh.childNodes);
    if (focused) document.getElementById(focused)?.focus();
  }

  /** @returns {HTMLElement[]} */
  #rows() {
    return Array.from(this.querySelectorAll("[data-job]"));
  }
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
