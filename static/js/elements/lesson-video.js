/**
 * <lesson-video>: goes on where one stopped, jumps to chapters, and tells the server which stretches were really played.
 *
 * A stretch is noted when playing pauses, jumps or has gone on for a while; skipping over something never counts it.
 */

import { frameAt, secondsOf } from "../lib/timecode.js";

const EVERY_S = 15;

class LessonVideo extends HTMLElement {
  connectedCallback() {
    const video = /** @type {HTMLVideoElement} */ (this.querySelector("video"));
    const num = Number(this.dataset.num);
    const den = Number(this.dataset.den);
    /** @type {number | null} */
    let since = null;

    const note = () => {
      if (since === null) return;
      const [first, end] = [frameAt(since, num, den), frameAt(video.currentTime, num, den)];
      since = video.paused || video.ended || video.seeking ? null : video.currentTime;
      if (end <= first) return;
      fetch(this.dataset.note ?? "", {
        method: "POST",
        keepalive: true,
        headers: { "Content-Type": "application/json", "X-Form-Token": this.dataset.token ?? "" },
        body: JSON.stringify({ first, end }),
      }).catch(() => {});
    };

    let last = 0;
    video.addEventListener("loadedmetadata", () => {
      video.currentTime = secondsOf(Number(this.dataset.at), num, den);
    });
    video.addEventListener("playing", () => {
      since ??= video.currentTime;
    });
    video.addEventListener("timeupdate", () => {
      // a jump shows as a step that no playing makes: the stretch ends where it was left
      if (since !== null && Math.abs(video.currentTime - last) > 1.5) since = video.currentTime;
      last = video.currentTime;
      if (since !== null && video.currentTime - since >= EVERY_S) note();
    });
    video.addEventListener("pause", note);
    video.addEventListener("ended", note);
    document.addEventListener("visibilitychange", note);
    for (const chapter of this.querySelectorAll("[data-frame]")) {
      chapter.addEventListener("click", () => {
        note();
        since = null;
        video.currentTime = secondsOf(Number(/** @type {HTMLElement} */ (chapter).dataset.frame), num, den);
        video.play().catch(() => {});
      });
    }
  }
}

customElements.define("lesson-video", LessonVideo);
