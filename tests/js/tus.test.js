import assert from "node:assert/strict";
import { test } from "node:test";

import { metadata, PIECE, Refused, Sender } from "../../static/js/lib/tus.js";

/** @typedef {import("../../static/js/lib/tus.js").Request} Request */
/** @typedef {import("../../static/js/lib/tus.js").Reply} Reply */

const PLACE = "/uploads/abc";

/**
 * @param {number} status
 * @param {Record<string, string>} headers
 * @param {string} text
 * @returns {Reply}
 */
function reply(status, headers = {}, text = "") {
  /** @type {Record<string, string>} */
  const all = { "Tus-Resumable": "1.0.0", ...headers };
  return { status, header: (name) => all[name] ?? null, text };
}

/** A server that keeps what it is sent, but for what the script says of each request in turn. */
class Server {
  /** @type {Uint8Array[]} */
  pieces = [];
  /** @type {Request[]} */
  asked = [];

  /** @param {(((request: Request) => Reply | null | undefined) | undefined)[]} script */
  constructor(script = []) {
    this.script = script;
  }

  get size() {
    return this.pieces.reduce((sum, each) => sum + each.length, 0);
  }

  /**
   * @param {Request} request
   * @param {(bytes: number) => void} sent
   */
  async answer(request, sent) {
    this.asked.push(request);
    const scripted = this.script.shift()?.(request);
    if (scripted !== undefined) return scripted;
    if (request.method === "POST") return reply(201, { Location: PLACE, "Upload-Offset": String(this.size) });
    if (request.method === "PATCH") {
      if (Number(request.headers["Upload-Offset"]) !== this.size) return reply(409);
      sent(request.body?.size ?? 0);
      this.pieces.push(new Uint8Array((await request.body?.arrayBuffer()) ?? new ArrayBuffer(0)));
    }
    return reply(request.method === "PATCH" ? 204 : 200, { "Upload-Offset": String(this.size) });
  }
}

/** @param {Server} server */
function sending(server) {
  /** @type {number[]} */
  const waits = [];
  /** @type {string[]} */
  const told = [];
  const sender = new Sender(
    (request, sent) => server.answer(request, sent),
    async (tries) => {
      waits.push(tries);
    },
    (trouble) => {
      if (trouble !== (told.at(-1) ?? "")) told.push(trouble);
    },
  );
  return { sender, waits, told };
}

/** @param {number} size */
function film(size) {
  const bytes = new Uint8Array(size);
  for (let n = 0; n < size; n += 1) bytes[n] = (n * 31 + (n >> 16)) % 251;
  return { bytes, file: new Blob([bytes]) };
}

/** @param {Server} server */
function kept(server) {
  return Buffer.concat(server.pieces);
}

const lost = () => null;

test("a file goes out in pieces, in order, each where the last one ended", async () => {
  const server = new Server();
  const { bytes, file } = film(2 * PIECE + 100);
  /** @type {number[]} */
  const reached = [];
  await sending(server).sender.send(PLACE, file, (at) => reached.push(at));
  assert.ok(kept(server).equals(bytes));
  assert.deepEqual(
    server.asked.map(({ method, headers }) => [method, headers["Upload-Offset"]]),
    [
      ["HEAD", undefined],
      ["PATCH", "0"],
      ["PATCH", String(PIECE)],
      ["PATCH", String(2 * PIECE)],
    ],
  );
  assert.ok(server.asked.every(({ headers }) => headers["Tus-Resumable"] === "1.0.0"));
  assert.deepEqual(reached, [0, PIECE, PIECE, 2 * PIECE, 2 * PIECE, file.size, file.size]);
});

test("a lost connection is waited out, longer each time, and nothing is sent twice", async () => {
  const server = new Server([undefined, undefined, lost, lost, lost]);
  const { bytes, file } = film(PIECE + 5);
  const { sender, waits, told } = sending(server);
  await sender.send(PLACE, file, () => {});
  assert.ok(kept(server).equals(bytes));
  assert.deepEqual(waits, [0, 1, 2]);
  assert.deepEqual(told, ["lost", ""]);
});

test("a second break is waited out as the first one was, not longer", async () => {
  const { sender, waits } = sending(new Server([lost, undefined, lost]));
  await sender.send(PLACE, film(10).file, () => {});
  assert.deepEqual(waits, [0, 0]);
});

test("bytes that came in though their answer was lost are not sent again", async () => {
  const { bytes, file } = film(10);
  const unheard = () => {
    server.pieces.push(bytes);
    return null;
  };
  const server = new Server([undefined, unheard]);
  await sending(server).sender.send(PLACE, file, () => {});
  assert.ok(kept(server).equals(bytes));
});

test("a page that somebody else answers with is no answer", async () => {
  const portal = () => ({ status: 200, header: () => null, text: "<html>Welcome to our hotel" });
  const { sender, told } = sending(new Server([portal, undefined, portal]));
  await sender.send(PLACE, film(10).file, () => {});
  assert.deepEqual(told, ["lost", "", "lost", ""]);
});

for (const [status, trouble] of /** @type {const} */ ([
  [507, "full"],
  [503, "busy"],
  [409, "busy"],
  [408, "busy"],
])) {
  test(`${status} in the middle is waited out and told as "${trouble}"`, async () => {
    const server = new Server([undefined, () => reply(status)]);
    const { bytes, file } = film(10);
    const { sender, told } = sending(server);
    await sender.send(PLACE, file, () => {});
    assert.deepEqual(told, [trouble, ""]);
    assert.ok(kept(server).equals(bytes));
  });
}

test("another writer is waited for when one asks, and ends the sending when one is replaced", async () => {
  const asking = sending(new Server([() => reply(423)]));
  await asking.sender.send(PLACE, film(10).file, () => {});
  assert.deepEqual(asking.told, ["busy", ""]);
  const replaced = sending(new Server([undefined, () => reply(423, {}, '{"error": "Another window."}')]));
  await assert.rejects(
    replaced.sender.send(PLACE, film(10).file, () => {}),
    { message: "Another window.", status: 423 },
  );
});

test("an announcement says all there is to say, and finds out where to send", async () => {
  const server = new Server();
  assert.deepEqual(await sending(server).sender.announce(7, { angle: "Höhe", consent: "" }), { place: PLACE, at: 0 });
  assert.equal(server.asked[0]?.headers["Upload-Length"], "7");
  assert.equal(server.asked[0]?.headers["Upload-Metadata"], "angle SMO2aGU=");
});

test("what is wrong with the form comes back by field; a file without room is refused at once", async () => {
  const wrong = new Server([() => reply(422, {}, '{"error": "No.", "about": {"angle": "This is needed."}}')]);
  await assert.rejects(sending(wrong).sender.announce(7, {}), (error) => {
    assert.ok(error instanceof Refused);
    assert.deepEqual(error.about, { angle: "This is needed." });
    return true;
  });
  const full = new Server([() => reply(507, {}, '{"error": "This file takes 9.00 GB."}')]);
  await assert.rejects(sending(full).sender.announce(7, {}), { message: "This file takes 9.00 GB.", status: 507 });
});

for (const [status, words] of /** @type {const} */ ([
  [401, "You are signed out. Sign in in another window, then try again here."],
  [403, "This device may not send files. Load the page again, or sign in as the supervisor."],
  [404, "It is not on its way here any more. Choose the file again to send it from the beginning."],
  [410, "It is not on its way here any more. Choose the file again to send it from the beginning."],
  [412, "The server did not take it."],
])) {
  test(`a refusal without words, ${status}, is told in ours`, async () => {
    const { sender } = sending(new Server([() => reply(500), () => reply(status)]));
    await assert.rejects(
      sender.send(PLACE, film(10).file, () => {}),
      { message: words, status },
    );
  });
}

test("what stands between and refuses large pieces is told, and not waited out", async () => {
  const between = () => ({ status: 413, header: () => null, text: "<html>too large" });
  const { sender, told } = sending(new Server([undefined, between]));
  await assert.rejects(
    sender.send(PLACE, film(10).file, () => {}),
    /lets no pieces of this size pass/,
  );
  assert.deepEqual(told, []);
});

test("metadata is base64 of UTF-8, without what is empty", () => {
  assert.equal(metadata({ filename: "a.mp4", see: "", new_game: "Ä–1" }), "filename YS5tcDQ=,new_game w4TigJMx");
});
