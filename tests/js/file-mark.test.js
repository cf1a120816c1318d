import assert from "node:assert/strict";
import { test } from "node:test";

import { crc32, markOf } from "../../static/js/lib/file-mark.js";

/** @param {Uint8Array<ArrayBuffer>} bytes @param {number} lastModified */
function file(bytes, lastModified = 1) {
  return Object.assign(new Blob([bytes]), { lastModified });
}

/** @param {number} size */
function film(size) {
  return Uint8Array.from({ length: size }, (_, n) => (n * 7) % 253);
}

test("the sum is the known one", () => {
  const known = (crc32(new TextEncoder().encode("123456789")) ^ 0xffffffff) >>> 0;
  assert.equal(known.toString(16), "cbf43926");
});

test("the same file has the same mark; another size, instant, beginning or end has not", async () => {
  const bytes = film(300_000);
  const mark = await markOf(file(bytes));
  assert.match(mark, /^300000-1-[0-9a-f]{1,8}$/);
  assert.equal(await markOf(file(bytes.slice())), mark);
  assert.notEqual(await markOf(file(bytes, 2)), mark);
  assert.notEqual(await markOf(file(bytes.slice(1))), mark);
  for (const at of [0, 299_999]) {
    const other = bytes.slice();
    other[at] = 255;
    assert.notEqual(await markOf(file(other)), mark);
  }
});

test("a mark fits the server, however large the file and its instant", async () => {
  const large = { size: 2 ** 42, lastModified: 8.64e15, slice: () => new Blob(["x"]) };
  assert.match(await markOf(/** @type {any} */ (large)), /^[0-9A-Za-z-]{1,80}$/);
});
