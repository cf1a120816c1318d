import assert from "node:assert/strict";
import { test } from "node:test";

import { between, fitted, middle, moved, sized } from "../../static/js/lib/box.js";

const SHEET = { width: 640, height: 360, locked: false };
const SHAPED = { ...SHEET, locked: true };
const BOX = { left: 100, top: 50, width: 200, height: 100 };

test("a box between two corners has even edges, whichever corner came first", () => {
  const drawn = { left: 100, top: 50, width: 202, height: 102 };
  assert.deepEqual(between({ x: 100, y: 50 }, { x: 301, y: 151 }, SHEET), drawn);
  assert.deepEqual(between({ x: 301, y: 151 }, { x: 100, y: 50 }, SHEET), drawn);
});

test("nothing leaves the picture", () => {
  assert.deepEqual(moved(BOX, -500, 500, SHEET), { left: 0, top: 260, width: 200, height: 100 });
  assert.deepEqual(sized(BOX, 5000, 5000, SHEET), { left: 100, top: 50, width: 540, height: 310 });
  assert.deepEqual(between({ x: -50, y: -50 }, { x: 900, y: 900 }, SHEET), {
    left: 0,
    top: 0,
    width: 640,
    height: 360,
  });
});

test("a box with the shape of the picture keeps it however it is drawn, sized or moved", () => {
  const made = [
    between({ x: 0, y: 0 }, { x: 320, y: 20 }, SHAPED),
    sized(middle(SHAPED), 40, 0, SHAPED),
    sized(middle(SHAPED), 0, -40, SHAPED),
    sized(middle(SHAPED), 5000, 0, SHAPED),
    moved(middle(SHAPED), 900, -900, SHAPED),
    fitted({ left: 3, top: 3, width: 101, height: 3 }, SHAPED),
  ];
  for (const box of made) {
    assert.ok(Math.abs(box.height - (box.width * 360) / 640) <= 1, JSON.stringify(box));
    assert.ok(box.left >= 0 && box.top >= 0 && box.left + box.width <= 640 && box.top + box.height <= 360);
    assert.ok(Object.values(box).every((value) => value % 2 === 0));
  }
  assert.equal(made[0]?.width, 320);
  assert.equal(made[1]?.width, 360);
});

test("a picture whose shape is no simple fraction has boxes within a pixel of it", () => {
  const odd = { width: 854, height: 480, locked: true };
  for (let width = 16; width <= 854; width += 7) {
    const box = fitted({ left: 0, top: 0, width, height: 0 }, odd);
    assert.ok(Math.abs(box.height - (box.width * 480) / 854) <= 1, JSON.stringify(box));
    assert.ok(box.width <= 854 && box.height <= 480);
  }
});

test("a box never shrinks to nothing, and begins in the middle", () => {
  assert.deepEqual(sized(BOX, -5000, -5000, SHEET), { left: 100, top: 50, width: 16, height: 16 });
  assert.deepEqual(middle(SHEET), { left: 160, top: 90, width: 320, height: 180 });
});
