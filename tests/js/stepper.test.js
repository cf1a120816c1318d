// Whole frames on a media element: an element of our own that seeks when it is told that it has.

import assert from "node:assert/strict";
import test from "node:test";

import { Past } from "../../static/js/lib/past.js";
import { Stepper } from "../../static/js/lib/stepper.js";

const RATES = [
  { num: 25, den: 1 },
  { num: 30, den: 1 },
  { num: 30000, den: 1001 },
];

/** A video whose seeks wait until `arrive` is called, and which plays by hand. */
class Video extends EventTarget {
  paused = true;
  readyState = 4;
  seeking = false;
  #time = 0;

  get currentTime() {
    return this.#time;
  }

  set currentTime(seconds) {
    this.#time = Math.floor(seconds * 1e6) / 1e6; // browsers cut to microseconds
    this.seeking = true;
  }

  arrive() {
    this.seeking = false;
    this.dispatchEvent(new Event("seeked"));
  }

  /** @param {number} seconds */
  run(seconds) {
    this.#time += seconds;
  }

  play() {
    this.paused = false;
    this.dispatchEvent(new Event("play"));
    return Promise.resolve();
  }

  pause() {
    if (this.paused) return;
    this.paused = true;
    this.dispatchEvent(new Event("pause"));
  }
}

/** @param {{num: number, den: number}} rate */
function standing(rate, frame = 0) {
  const video = new Video();
  const stepper = new Stepper(/** @type {any} */ (video), { ...rate, frames: 1000 }, frame, () => {});
  video.arrive();
  return { video, stepper, shown: () => Math.floor((video.currentTime * rate.num) / rate.den) };
}

test("each step forwards and backwards shows exactly the next frame", () => {
  for (const rate of RATES) {
    const { video, stepper, shown } = standing(rate);
    for (const step of [...Array(300).fill(1), ...Array(300).fill(-1)]) {
      stepper.stand(stepper.frame + step);
      video.arrive();
      assert.equal(shown(), stepper.frame);
    }
    assert.equal(stepper.frame, 0);
  }
});

test("of steps that come faster than the picture, the last one is shown", () => {
  const { video, stepper, shown } = standing({ num: 30, den: 1 });
  for (let n = 0; n < 20; n += 1) stepper.stand(stepper.frame + 1);
  video.arrive();
  video.arrive();
  assert.equal(stepper.frame, 20);
  assert.equal(shown(), 20);
});

test("nobody steps out of the recording", () => {
  const { stepper } = standing({ num: 30, den: 1 });
  stepper.stand(-5);
  assert.equal(stepper.frame, 0);
  stepper.stand(5000);
  assert.equal(stepper.frame, 999);
});

test("playing is followed, and stopping stands on the frame under the eyes", () => {
  const { video, stepper, shown } = standing({ num: 30, den: 1 }, 30);
  stepper.play();
  video.run(0.5);
  stepper.follow();
  assert.equal(stepper.frame, 45);
  stepper.play();
  assert.equal(stepper.isPlaying, false);
  video.arrive();
  assert.equal(shown(), 45);
});

test("a loop goes back to its first frame when its last has been shown", () => {
  const { video, stepper, shown } = standing({ num: 30, den: 1 }, 60);
  stepper.loop = { first: 60, last: 74 };
  stepper.play();
  video.run(0.5);
  stepper.follow();
  video.arrive();
  assert.equal(shown(), 60);
  assert.equal(stepper.isPlaying, true);
});

test("another angle shows the same moment", () => {
  const { video, stepper, shown } = standing({ num: 30, den: 1 }, 100);
  stepper.offset = -12;
  video.dispatchEvent(new Event("loadedmetadata"));
  video.arrive();
  assert.equal(stepper.frame, 100);
  assert.equal(shown(), 88);
});

test("what was done is undone and done again, until something else is done", () => {
  /** @type {Past<string[]>} */
  const past = new Past();
  for (const state of ["a", "b", "b", "c"]) past.keep([state]);
  assert.deepEqual([past.go(-1), past.go(-1), past.go(-1)], [["b"], ["a"], null]);
  assert.deepEqual(past.go(1), ["b"]);
  past.keep(["d"]);
  assert.equal(past.go(1), null);
  assert.deepEqual(past.go(-1), ["b"]);
});
