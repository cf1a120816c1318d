"""Phones as light as they can be: each takes its check over one connection, and goes on when the server comes back."""

from __future__ import annotations

import asyncio
import json
import random
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from app.web.auth import PLAIN_COOKIE
from tests.load.clinic import CUT, Seat

ECHOES = 4
THINKING_S = (0.05, 0.4)
"""How long somebody takes to decide: not the seconds that it takes people, so that all come at once."""
PAUSE_S = 0.05
NEVER = -1
PATIENCE_S = 120.0
BUSY = 503
GONE = (OSError, EOFError)
"""How a connection ends whose server is gone."""
Body = dict[str, Any]


class Refused(Exception):
    """A reply that ends a check: nobody can go on from there."""


@dataclass
class Tally:
    """What happened to a crowd. `answers`: (sitting, look) -> its key and decision, as they were acknowledged.

    `waits`: seconds that each answer took. `errors`: what went wrong and was nobody's kill -> how often. `kills`: how
    often the server has been killed; `down`: it is, just now.
    """

    answers: dict[tuple[str, int], tuple[str, str]] = field(default_factory=dict)
    reasons: set[tuple[str, int]] = field(default_factory=set)
    ended: set[str] = field(default_factory=set)
    waits: list[float] = field(default_factory=list)
    errors: Counter[str] = field(default_factory=Counter)
    requests: int = 0
    resent: int = 0
    kills: int = 0
    down: bool = False


class Line:
    """A connection to the server that is made when it is needed."""

    def __init__(self, port: int, seat: Seat, tally: Tally) -> None:
        self._port, self._tally, self._since = port, tally, NEVER
        self._ends: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
        self._head = (
            f"Host: 127.0.0.1\r\nCookie: {PLAIN_COOKIE}={seat.token}\r\nX-Form-Token: {seat.key}\r\n"
            "Sec-Fetch-Site: same-origin\r\nAccept: application/json\r\n"
        )

    async def ask(self, method: str, path: str, body: Callable[[int], Body] | None = None) -> bytes:
        """One request, until it is replied to; `body` is told how often it was sent before. Raises Refused."""
        end = time.monotonic() + PATIENCE_S
        for tried in range(10_000):
            try:
                status, reply = await asyncio.wait_for(self._asked(method, path, body and body(tried)), PATIENCE_S)
            except GONE as error:
                await self._gone(f"{type(error).__name__} at {path.rpartition('/')[2]}")
                if time.monotonic() > end:
                    break
                continue
            self._tally.requests += 1
            if status == 200:
                return reply
            self._tally.errors[f"{status} at {path.rpartition('/')[2]}"] += 1
            if status != BUSY:
                raise Refused(reply[:200].decode("utf-8", "replace"))
            await asyncio.sleep(PAUSE_S)
        raise Refused("the server does not come back")

    async def _asked(self, method: str, path: str, body: Body | None) -> tuple[int, bytes]:
        if self._ends is None:
            self._since = NEVER if self._tally.down else self._tally.kills
            self._ends = await asyncio.open_connection("127.0.0.1", self._port)
        reader, writer = self._ends
        told = b"" if body is None else json.dumps(body).encode()
        kind = f"Content-Type: application/json\r\nContent-Length: {len(told)}\r\n" if told else ""
        writer.write(f"{method} {path} HTTP/1.1\r\n{self._head}{kind}\r\n".encode() + told)
        await writer.drain()
        head = (await reader.readuntil(b"\r\n\r\n")).lower()
        length = head.partition(b"\r\ncontent-length:")[2].partition(b"\r\n")[0]
        return int(head[9:12]), await reader.readexactly(int(length))

    async def _gone(self, what: str) -> None:
        """The connection broke: explained by a kill since it was made, or by a server that is down; else an error."""
        self.close()
        self._tally.resent += 1
        if not self._tally.down and self._since == self._tally.kills:
            self._tally.errors[what] += 1
        await asyncio.sleep(PAUSE_S)

    def close(self) -> None:
        """Hang up."""
        if self._ends is not None:
            self._ends[1].close()
        self._ends = None


class Phone:
    """One official with a phone. `chance` decides how quickly, and what."""

    def __init__(self, port: int, seat: Seat, tally: Tally, chance: random.Random) -> None:
        self._seat, self._tally, self._chance = seat, tally, chance
        self._line, self._at, self._stamp = Line(port, seat, tally), f"/sittings/{seat.sitting}", ""

    async def take(self) -> None:
        """The check, from where it stands to its end; an error that ends it is in the tally."""
        try:
            for _ in range(ECHOES):
                self._stamp = (await self._post("/echo", lambda _: {"stamp": self._stamp}))["stamp"]
            while looks := await self._ahead():
                for look in looks:
                    await self._look(look)
            await self._post("/finish", lambda _: {})
            self._tally.ended.add(self._seat.sitting)
        except Refused as refusal:
            self._tally.errors[f"ended: {refusal}"] += 1
        finally:
            self._line.close()

    async def _post(self, path: str, body: Callable[[int], Body]) -> Body:
        found: Body = json.loads(await self._line.ask("POST", f"{self._at}{path}", body))
        return found

    async def _ahead(self) -> list[Body]:
        """The next looks, their clips fetched."""
        told: Body = json.loads(await self._line.ask("GET", f"{self._at}/ahead"))
        if told["unexplained"] is not None:
            await self._explain(told["unexplained"]["n"], told["unexplained"]["why"])
        looks: list[Body] = told["looks"]
        for look in looks:
            if look["clip"] and len(await self._line.ask("GET", look["clip"])) != CUT:
                self._tally.errors["a clip is not whole"] += 1
        return looks

    async def _look(self, look: Body) -> None:
        at, word = f"/looks/{look['n']}", f"{self._chance.getrandbits(64):x}"
        opened = await self._post(f"{at}/open", lambda tried: {"stamp": self._stamp, "press": word, "times": tried})
        if opened["nonce"] is None:
            return
        began, said = time.monotonic(), self._chance.choice(("flag", "no flag"))
        await asyncio.sleep(self._chance.uniform(*THINKING_S) + look["ms"] / 1000)
        spent = round((time.monotonic() - began) * 1000)
        body = {
            "nonce": opened["nonce"], "idempotency": word, "decision": said, "load": 0, "play": look["ms"],
            "decide": spent - look["ms"], "hidden": False, "dropped": 0.0, "reopened": not opened["opened"],
        }  # fmt: skip
        asked = time.monotonic()
        reply = await self._post(f"{at}/answer", lambda _: body)
        self._tally.waits.append(time.monotonic() - asked)
        if reply["idempotency"] != word:
            self._tally.errors["a reply to something else"] += 1
        self._tally.answers[self._seat.sitting, look["n"]] = (word, said)
        if reply["why"] is not None:
            await self._explain(look["n"], reply["why"])

    async def _explain(self, n: int, why: Body) -> None:
        shows = {point["id"]: "can't tell" for point in why["points"]} if why["whole"] else {"": "can't tell"}
        await self._post(f"/looks/{n}/reason", lambda _: {"shows": shows})
        self._tally.reasons.add((self._seat.sitting, n))
