// <send-form>: around a form with files. Sends it with its progress shown and a way to cancel, and says beforehand when
// the files do not fit. Without files in the form, or without this script, the browser sends it as it always does.

class SendForm extends HTMLElement {
  connectedCallback() {
    this.addEventListener("submit", (event) => {
      const form = event.target;
      if (!(form instanceof HTMLFormElement) || form.enctype !== "multipart/form-data") return;
      event.preventDefault();
      const size = sizeOf(form);
      const free = Number(this.getAttribute("free"));
      if (size > free) this.#say(`These files take ${gigabytes(size)}, and there is room for ${gigabytes(free)}.`);
      else this.#send(form);
    });
  }

  /** @param {HTMLFormElement} form */
  #send(form) {
    const request = new XMLHttpRequest();
    const shown = this.#progress(() => request.abort());
    request.open("POST", form.action);
    request.setRequestHeader("accept", "text/html");
    request.upload.addEventListener("progress", ({ loaded, total }) => shown.tell(loaded, total));
    request.addEventListener("load", () => this.#answered(request));
    request.addEventListener("error", () => this.#broke("The connection broke off. Nothing was kept; send it again."));
    request.addEventListener("abort", () => this.#broke("Cancelled. Nothing was kept."));
    request.send(new FormData(form));
  }

  /** @param {XMLHttpRequest} request */
  #answered(request) {
    if (request.status < 300) {
      location.assign(request.responseURL);
      return;
    }
    const answer = new DOMParser().parseFromString(request.responseText, "text/html").querySelector("main");
    if (answer) document.querySelector("main")?.replaceWith(document.importNode(answer, true));
    const wrong = document.querySelector('[aria-invalid="true"]');
    if (wrong instanceof HTMLElement) wrong.focus();
    else document.querySelector("h1")?.scrollIntoView();
  }

  /** @param {string} words */
  #broke(words) {
    this.querySelector("[data-sending]")?.remove();
    this.querySelector("[data-acts]")?.removeAttribute("hidden");
    this.#say(words);
  }

  /** @param {string} words */
  #say(words) {
    const line = this.querySelector("[data-said]") ?? document.createElement("p");
    line.setAttribute("data-said", "");
    line.setAttribute("role", "alert");
    line.className = "trouble-of-field";
    line.textContent = words;
    this.querySelector("[data-acts]")?.before(line);
  }

  /**
   * @param {() => void} cancel
   * @returns {{tell: (loaded: number, total: number) => void}}
   */
  #progress(cancel) {
    const acts = this.querySelector("[data-acts]");
    acts?.setAttribute("hidden", "");
    this.querySelector("[data-said]")?.remove();
    const sending = document.createElement("div");
    sending.dataset.sending = "";
    sending.className = "stack";
    const bar = Object.assign(document.createElement("progress"), { className: "bar", max: 1, value: 0 });
    bar.setAttribute("aria-label", "Sending");
    const words = Object.assign(document.createElement("p"), { textContent: "Sending" });
    const button = Object.assign(document.createElement("button"), { className: "press", type: "button" });
    button.textContent = "Cancel";
    button.addEventListener("click", cancel);
    sending.append(words, bar, button);
    acts?.before(sending);
    button.focus();
    return {
      tell(loaded, total) {
        bar.value = loaded / total;
        words.textContent =
          loaded < total ? `${gigabytes(loaded)} of ${gigabytes(total)} sent` : "Sent. The server is keeping it.";
      },
    };
  }
}

/**
 * @param {HTMLFormElement} form
 * @returns {number} bytes
 */
function sizeOf(form) {
  let size = 0;
  for (const value of new FormData(form).values()) size += value instanceof File ? value.size : 0;
  return size;
}

/**
 * @param {number} bytes
 * @returns {string}
 */
function gigabytes(bytes) {
  return bytes < 1e9 ? `${(bytes / 1e6).toFixed(1)} MB` : `${(bytes / 1e9).toFixed(2)} GB`;
}

customElements.define("send-form", SendForm);
