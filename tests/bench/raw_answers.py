"""The rival of the answer path: Starlette and sqlite3 (or FastAPI and psycopg), bare hands, the same work per answer.

Checks the JSON, reads the sitting by its token, reads the question, inserts the answer once, reads the next question,
replies. `python -m tests.bench.raw_answers MODE DATABASE PORT`, MODE one of normal, full, group, postgresql.
"""

from __future__ import annotations

import asyncio
import sqlite3
import sys
import threading
from collections import deque
from typing import Any

import uvicorn
from fastapi import FastAPI
from pydantic import BaseModel
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Route

BATCH = 256
SCHEMA = """
CREATE TABLE sitting (token TEXT PRIMARY KEY, person TEXT NOT NULL);
CREATE TABLE question (token TEXT, n INTEGER, clip TEXT, state TEXT, PRIMARY KEY (token, n));
CREATE TABLE answer (token TEXT, n INTEGER, decision TEXT, decide INTEGER, key TEXT, PRIMARY KEY (token, n));
"""
ONE_STATEMENT = """
WITH asked AS (
  SELECT q.token, q.n FROM question q JOIN sitting s ON s.token = q.token WHERE q.token = %(token)s AND q.n = %(n)s
), kept AS (
  INSERT INTO answer (token, n, decision, decide, key)
  SELECT token, n, %(decision)s, %(decide)s, %(key)s FROM asked ON CONFLICT (token, n) DO NOTHING RETURNING n
), done AS (
  UPDATE question SET state = 'decided' WHERE token = %(token)s AND n IN (SELECT n FROM kept)
)
SELECT (SELECT count(*) FROM kept), q.n, q.clip FROM question q WHERE q.token = %(token)s AND q.n = %(n)s + 1
"""


class Bad(ValueError):
    """Not what an answer looks like."""


def checked(body: Any) -> tuple[str, int, str, int, str]:
    """The fields of an answer."""
    match body:
        case {
            "token": str(token),
            "n": int(n),
            "decision": "flag" | "no flag" as said,
            "decide": int(ms),
            "key": str(key),
        }:
            return token, n, said, ms, key
    raise Bad


def kept(database: sqlite3.Connection, given: tuple[str, int, str, int, str]) -> dict[str, Any]:
    """Keep an answer within the transaction that is open."""
    token, n, said, decide, key = given
    if database.execute("SELECT person FROM sitting WHERE token = ?", (token,)).fetchone() is None:
        return {"error": "no such sitting"}
    if database.execute("SELECT state FROM question WHERE token = ? AND n = ?", (token, n)).fetchone() is None:
        return {"error": "no such question"}
    database.execute("INSERT OR IGNORE INTO answer VALUES (?, ?, ?, ?, ?)", (token, n, said, decide, key))
    database.execute("UPDATE question SET state = 'decided' WHERE token = ? AND n = ?", (token, n))
    following = database.execute("SELECT n, clip FROM question WHERE token = ? AND n = ?", (token, n + 1)).fetchone()
    return {"kept": True, "next": following}


def opened(path: str, synchronous: str) -> sqlite3.Connection:
    """The database with its journal and the care that is asked for."""
    database = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    database.execute("PRAGMA journal_mode = WAL")
    database.execute(f"PRAGMA synchronous = {synchronous}")
    return database


def plain(path: str, synchronous: str) -> Starlette:
    """A commit for each answer, in the loop itself: there is no quicker way from Python."""
    database = opened(path, synchronous)

    async def answer(request: Request) -> JSONResponse:
        given = checked(await request.json())
        database.execute("BEGIN IMMEDIATE")
        reply = kept(database, given)
        database.execute("COMMIT")
        return JSONResponse(reply)

    return Starlette(routes=[Route("/answer", answer, methods=["POST"])])


def grouped(path: str) -> Starlette:
    """One commit for all that wait, by a thread of its own."""
    queue: deque[tuple[Any, asyncio.Future[Any], asyncio.AbstractEventLoop]] = deque()
    wake = threading.Event()

    def tell(told: list[tuple[asyncio.Future[Any], Any]]) -> None:
        for future, reply in told:
            future.set_result(reply)

    def work() -> None:
        database = opened(path, "FULL")
        while True:
            wake.wait()
            wake.clear()
            while queue:
                batch = [queue.popleft() for _ in range(min(len(queue), BATCH))]
                database.execute("BEGIN IMMEDIATE")
                replies = [kept(database, given) for given, _, _ in batch]
                database.execute("COMMIT")
                told = [(future, reply) for (_, future, _), reply in zip(batch, replies, strict=True)]
                batch[0][2].call_soon_threadsafe(tell, told)

    threading.Thread(target=work, daemon=True).start()

    async def answer(request: Request) -> JSONResponse:
        given = checked(await request.json())
        loop = asyncio.get_running_loop()
        future: asyncio.Future[Any] = loop.create_future()
        queue.append((given, future, loop))
        wake.set()
        return JSONResponse(await future)

    return Starlette(routes=[Route("/answer", answer, methods=["POST"])])


class Body(BaseModel):
    """An answer, as FastAPI reads it."""

    token: str
    n: int
    decision: str
    decide: int
    key: str


def on_postgresql(url: str) -> FastAPI:
    """One statement for each answer, a connection for each thread of the pool."""
    import psycopg

    here = threading.local()
    app = FastAPI()

    @app.post("/answer")
    def answer(body: Body) -> dict[str, Any]:
        if not hasattr(here, "connection"):
            here.connection = psycopg.connect(url, autocommit=True)
        row = here.connection.execute(ONE_STATEMENT, body.model_dump()).fetchone()
        return {"kept": True, "next": row and row[1:]}

    return app


def main(mode: str, place: str, port: str) -> None:
    """Serve until it is ended."""
    app: Starlette
    match mode:
        case "group":
            app = grouped(place)
        case "postgresql":
            app = on_postgresql(place)
        case _:
            app = plain(place, mode.upper())
    uvicorn.run(app, host="127.0.0.1", port=int(port), log_level="warning")


if __name__ == "__main__":
    main(*sys.argv[1:])
