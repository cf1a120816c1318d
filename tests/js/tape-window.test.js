// The stretch that the tape shows, and the heights of the flags on it.

import assert from "node:assert/strict";
import test from "node:test";

import { around, following, frameAtPlace, heights, opening, place, zoomed } from "../../static/js/lib/tape-window.js";

const HOUR = 108_000;

/** @param {{first: number, end: number}} stretch @param {number} frames */
function lies(stretch, frames) {
  assert.ok(0 <= stretch.first && stretch.first < stretch.end && stretch.end <= frames, JSON.stringify(stretch));
}

test("a stretch lies inside the recording, whatever is asked", () => {
  for (const frames of [1, 2, 25, 400, HOUR]) {
    for (const at of [0, 1, frames - 1]) {
      lies(around(at, 600, frames), frames);
      lies(opening([], at, 30, frames), frames);
      lies(opening([0, frames - 1], at, 30, frames), frames);
      for (const factor of [0.001, 0.5, 2, 1000]) lies(zoomed(around(at, 600, frames), at, factor, frames), frames);
    }
  }
});

test("the first stretch shows every mark, and where one stands", () => {
  const stretch = opening([3000, 3300, 3150], 3150, 30, HOUR);
  for (const frame of [3000, 3150, 3300]) assert.ok(stretch.first <= frame && frame < stretch.end);
  assert.ok(stretch.end - stretch.first < 600);
});

test("closer and wider keep the frame at hand in its place", () => {
  const before = around(5000, 1000, HOUR);
  const after = zoomed(before, 5200, 0.5, HOUR);
  assert.equal(after.end - after.first, 500);
  assert.ok(Math.abs(place(5200, after) - place(5200, before)) < 0.002);
});

test("the tape turns over when the picture runs off it, and not before", () => {
  const stretch = { first: 100, end: 200 };
  assert.equal(following(stretch, 199, HOUR), stretch);
  assert.deepEqual(following(stretch, 200, HOUR), { first: 150, end: 250 });
});

test("a place on the tape and its frame agree", () => {
  const stretch = { first: 90, end: 301 };
  for (let frame = stretch.first; frame < stretch.end; frame += 1) {
    assert.equal(frameAtPlace(place(frame + 0.5, stretch), stretch), frame);
  }
  assert.equal(frameAtPlace(-0.2, stretch), 90);
  assert.equal(frameAtPlace(1, stretch), 300);
});

test("no staff crosses a word: whoever begins under a flag stands lower", () => {
  assert.deepEqual(heights([]), []);
  const wide = [0, 100, 200].map((x) => ({ x, width: 90 }));
  assert.deepEqual(heights(wide), [0, 0, 0]);
  const close = [0, 40, 80, 300].map((x) => ({ x, width: 90 }));
  assert.deepEqual(heights(close), [2, 1, 0, 0]);
});
