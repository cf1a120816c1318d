// What can be seen of a page, as functions of `window.seen`; evaluated in a page by tests, which judge what comes back.

window.seen = (() => {
  const CONTROLS = "a[href], button, input, select, textarea, summary, video[controls], [tabindex]";

  /** @param {Element} element */
  const name = (element) => {
    const words = (element.getAttribute("aria-label") || element.textContent || "").trim().replace(/\s+/g, " ");
    const mark = element.id ? `#${element.id}` : element.className ? `.${String(element.className).split(" ")[0]}` : "";
    return `${element.localName}${mark} "${words.slice(0, 40)}"`;
  };

  /** @param {Element} element */
  const visible = (element) => {
    const box = element.getBoundingClientRect();
    return (
      box.width > 1 && box.height > 1 && element.checkVisibility({ visibilityProperty: true, opacityProperty: true })
    );
  };

  /** Whether it may scroll on its own, or is taken away on purpose. @param {Element | null} element */
  const scrolls = (element) => {
    for (let at = element; at && at !== document.body; at = at.parentElement) {
      if (["auto", "scroll"].includes(getComputedStyle(at).overflowX)) return true;
      if (at.matches(".unseen, .skip, textarea, select")) return true;
    }
    return false;
  };

  const controls = () =>
    [...document.querySelectorAll(CONTROLS)].filter((each) => visible(each) && !each.matches(".skip"));

  /** Pixels by which the page is wider than its window. */
  const wider = () => document.documentElement.scrollWidth - document.documentElement.clientWidth;

  /** What sticks out of the window at its right side, or whose words are cut off. */
  const clipped = () => {
    const found = [];
    for (const element of document.body.querySelectorAll("*")) {
      if (!visible(element) || element.closest("svg, .unseen, .skip, input, option, datalist")) continue;
      const style = getComputedStyle(element);
      const cut = ["hidden", "clip"].includes(style.overflowX) && element.scrollWidth > element.clientWidth + 2;
      const told = style.textOverflow === "ellipsis";
      if (cut && !told) found.push(`cut off: ${name(element)}`);
      if (element.getBoundingClientRect().right > innerWidth + 1 && !scrolls(element))
        found.push(`out: ${name(element)}`);
    }
    return found;
  };

  /** The place one presses: the label around a box belongs to it. @param {Element} element */
  const target = (element) => {
    const whole = element.matches("input")
      ? element.closest("label")
      : element.matches(".covers")
        ? element.closest("li")
        : null;
    return (whole ?? element).getBoundingClientRect();
  };

  /** A link in the middle of a sentence is as tall as its line. @param {Element} element */
  const inSentence = (element) => {
    if (getComputedStyle(element).display !== "inline" || !element.parentElement) return false;
    const around = element.parentElement.textContent?.trim().length ?? 0;
    return around > (element.textContent?.trim().length ?? 0) + 12;
  };

  /** Controls lower or narrower than so many pixels. @param {number} least */
  const small = (least) =>
    controls()
      .filter((each) => !each.matches(":disabled, video") && !inSentence(each))
      .filter((each) => target(each).height < least - 0.5 || target(each).width < least - 0.5)
      .map((each) => `${name(each)} ${target(each).width.toFixed(0)}x${target(each).height.toFixed(0)}`);

  /** Whether it is held in its place while the rest moves under it. @param {Element | null} element */
  const held = (element) => {
    for (let at = element; at; at = at.parentElement) {
      if (["sticky", "fixed"].includes(getComputedStyle(at).position)) return true;
    }
    return false;
  };

  /** @param {DOMRect} a @param {DOMRect} b */
  const meet = (a, b) =>
    Math.min(a.right, b.right) - Math.max(a.left, b.left) > 2 &&
    Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2;

  /** Pairs of controls that lie on each other. */
  const overlapping = () => {
    const found = [];
    const all = controls().filter((each) => !held(each));
    for (const [n, one] of all.entries()) {
      for (const other of all.slice(n + 1)) {
        if (one.contains(other) || other.contains(one) || one.closest("label")?.contains(other)) continue;
        const lines = [...one.getClientRects()].flatMap((a) => [...other.getClientRects()].map((b) => [a, b]));
        if (lines.some(([a, b]) => a && b && meet(a, b))) found.push(`${name(one)} / ${name(other)}`);
      }
    }
    return found;
  };

  /** What a class lays out although it is hidden. */
  const laidOut = () =>
    [...document.querySelectorAll("main [class]:not([hidden], svg)")].filter((element) => {
      element.toggleAttribute("hidden", true);
      const shown = getComputedStyle(element).display !== "none";
      element.toggleAttribute("hidden", false);
      return shown;
    });

  /** What a page is made of: its headings of the first rank, landmarks, title, pictures that did not come. */
  const parts = () => ({
    headings: [...document.querySelectorAll("h1")].filter(visible).map((each) => each.textContent?.trim()),
    mains: document.querySelectorAll("main").length,
    title: document.title,
    accents: [...document.querySelectorAll(".go")].filter(visible).length,
    laidOut: laidOut().map(name),
    broken: [...document.images].filter((each) => each.complete && !each.naturalWidth).map(name),
  });

  /** Whatever Tab should reach: of a group of radio buttons one. */
  const stops = () => {
    const groups = new Set();
    return controls().filter((each) => {
      if (each.matches(':disabled, [tabindex="-1"]') || each.closest("[inert]")) return false;
      if (!each.matches("input[type=radio]")) return true;
      const radio = /** @type {HTMLInputElement} */ (each);
      const group = [...document.getElementsByName(radio.name)].filter((other) => other.form === radio.form);
      const chosen = group.some((other) => other.checked);
      if (chosen) return radio.checked;
      const fresh = !groups.has(radio.name);
      groups.add(radio.name);
      return fresh;
    });
  };

  /** Note from now on what gets the focus, and what of it cannot be seen. */
  const watch = () => {
    const reached = new Set();
    const faults = [];
    let rounds = 0;
    document.activeElement?.blur?.();
    document.addEventListener("focusin", (event) => {
      const element = /** @type {Element} */ (event.target);
      if (element.matches(".skip")) rounds += 1;
      if (reached.has(element)) return;
      reached.add(element);
      const style = getComputedStyle(element);
      const outlined = style.outlineStyle !== "none" && Number.parseFloat(style.outlineWidth) >= 2;
      if (!outlined && !element.matches("video")) faults.push(`no outline: ${name(element)}`);
      const box = element.getBoundingClientRect();
      const [x, y] = [box.left + Math.min(box.width / 2, 40), box.top + Math.min(box.height / 2, 40)];
      const top = document.elementFromPoint(x, y);
      const label = element.closest("label");
      const hit = top && (element.contains(top) || top.contains(element) || label?.contains(top));
      if (!hit) faults.push(`focus lies under ${top ? name(top) : "the edge"}: ${name(element)}`);
    });
    window.focused = {
      get rounds() {
        return rounds;
      },
      report: () => ({
        faults,
        missed: stops()
          .filter((each) => !reached.has(each))
          .map(name),
        reached: reached.size,
      }),
    };
    return stops().length;
  };

  return { wider, clipped, small, overlapping, parts, watch, controls: () => controls().map(name) };
})();
