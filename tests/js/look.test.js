// The clock of one look, and the outbox that loses no decision.

import assert from "node:assert/strict";
import test from "node:test";

import { dropped, left, measured, secondsLeft } from "../../static/js/lib/look-clock.js";
import { Outbox } from "../../static/js/lib/outbox.js";

test("a decision after the end is told with the play as it was", () => {
  assert.deepEqual(measured(1000, 1200.4, 7205.2, 8000, 6000), { load: 200, play: 6005, decide: 795 });
});

test("a decision while it plays counts as before the end of the whole clip", () => {
  assert.deepEqual(measured(1000, 1200, null, 4200, 6000), { load: 200, play: 6000, decide: -3000 });
});

test("load, play and decision together are the time that has passed", () => {
  for (const [first, last, pressed] of /** @type {[number, number | null, number][]} */ ([
    [1300, 7300, 9000],
    [1300, null, 2000],
    [1001, 8000, 8001],
  ])) {
    const told = measured(1000, first, last, pressed, 6000);
    assert.equal(told.load + told.play + told.decide, pressed - 1000);
  }
});

test("the clock is whole while the picture plays, and runs out at the deadline", () => {
  assert.equal(left(9999, null, 5000), 1);
  assert.equal(left(1000, 1000, 5000), 1);
  assert.equal(left(3500, 1000, 5000), 0.5);
  assert.equal(left(6000, 1000, 5000), 0);
  assert.equal(left(99_000, 1000, 5000), 0);
});

test("the figure holds each second until it is over", () => {
  const figures = [1, 0.81, 0.8, 0.61, 0.2, 0.01, 0].map((share) => secondsLeft(share, 5000));
  assert.deepEqual(figures, [5, 5, 4, 4, 1, 1, 0]);
});

test("frames that were not shown are a share of all", () => {
  assert.equal(dropped(150, 200), 0.25);
  assert.equal(dropped(201, 200), 0);
  assert.equal(dropped(3, 0), 0);
});

/** @typedef {import("../../static/js/lib/outbox.js").Reply} Reply */

/** A store in memory. */
function memory() {
  /** @type {Map<string, string>} */
  const kept = new Map();
  return {
    kept,
    getItem: (/** @type {string} */ name) => kept.get(name) ?? null,
    setItem: (/** @type {string} */ name, /** @type {string} */ value) => void kept.set(name, value),
    removeItem: (/** @type {string} */ name) => void kept.delete(name),
  };
}

/**
 * A server that gives these replies, one after another, and the last one ever after.
 * @param {(Reply | null)[]} replies
 */
function server(replies) {
  /** @type {string[]} */
  const got = [];
  const send = async (/** @type {{path: string}} */ message) => {
    got.push(message.path);
    return (replies.length > 1 ? replies.shift() : replies[0]) ?? null;
  };
  return { got, send };
}

const OK = { status: 200, body: {} };
const now = async () => {};

test("a message is written down before it is sent, and gone once it is answered", async () => {
  const store = memory();
  const box = new Outbox(
    store,
    "x",
    async () => {
      assert.equal(JSON.parse(store.kept.get("x") ?? "")[0].path, "/a");
      return OK;
    },
    now,
  );
  await box.post("/a", { decision: "flag" });
  assert.equal(store.kept.size, 0);
});

test("only the server's own taking or refusing is an answer", async () => {
  for (const no of [null, { status: 401, body: {} }, { status: 429, body: {} }, { status: 503, body: {} }]) {
    const { got, send } = server([no, no, OK]);
    assert.deepEqual(await new Outbox(memory(), "x", send, now).post("/a", {}), OK);
    assert.equal(got.length, 3);
  }
  for (const status of [400, 404, 409, 422]) {
    const { got, send } = server([{ status, body: {} }]);
    assert.equal((await new Outbox(memory(), "x", send, now).post("/a", {})).status, status);
    assert.equal(got.length, 1);
  }
});

test("messages keep their order, whatever the network does", async () => {
  const { got, send } = server([null, OK, null, OK]);
  const box = new Outbox(memory(), "x", send, now);
  await Promise.all([box.post("/a", {}), box.post("/b", {})]);
  assert.deepEqual(got, ["/a", "/a", "/b", "/b"]);
});

test("what an earlier page left is sent first by the next one", async () => {
  const store = memory();
  const first = new Outbox(
    store,
    "x",
    async () => null,
    () => new Promise(() => {}),
  );
  first.post("/a", { n: 1 });
  await new Promise((later) => setTimeout(later));
  const { got, send } = server([OK]);
  const second = new Outbox(store, "x", send, now);
  assert.equal(second.length, 1);
  const later = second.flush();
  await second.post("/b", {});
  await later;
  assert.deepEqual(got, ["/a", "/b"]);
  assert.equal(store.kept.size, 0);
});

test("a browser that keeps nothing, or something broken, still sends", async () => {
  const broken = memory();
  broken.kept.set("x", "{no json");
  for (const store of [null, broken]) {
    const { got, send } = server([OK]);
    await new Outbox(store, "x", send, now).post("/a", {});
    assert.deepEqual(got, ["/a"]);
  }
});
