"""The answer path: a decision kept by a real server against bare endpoints that do the same work, one core each.

Server and rival run alone on one core, the phones on the other. Both are proved first: every answer that was
acknowledged is in the database, once.
"""

from __future__ import annotations

import os
import socket
import sqlite3
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy import text
from sqlmodel import Session

from app.actions.sitting import start_sitting
from app.domain.people import Role
from app.store.devices import Device, add_device
from app.store.migrate import migrate
from app.store.people import Person, add_membership, add_person
from app.store.sittings import Sitting, list_looks
from app.web.auth import PLAIN_COOKIE, digest, form_token
from app.web.looking import Terms, nonce_of
from tests import postgres
from tests.bench import raw_answers
from tests.bench.measured import Measured
from tests.bench.phones import Answered, Asking, answered
from tests.load.building import building
from tests.plays import PLAN, add_plays, publish
from tests.ports import free_port
from tests.web.league import league

FEW, MANY = 50, 300
"""Phones at once: a crew meeting, a clinic."""
EACH = {FEW: 40, MANY: 16}
"""Answers that each of them gives."""
CLIP, PLENTY = 2000, 3_600_000
"""Milliseconds: of a clip, and to decide, so that every answer is in time whenever its turn comes."""
SERVER_CORE, PHONES_CORE = 0, 1
PATIENCE_S = 60.0


@dataclass(frozen=True)
class Place:
    """A server that runs: its port, its process, what its phones ask, how many answers its database holds."""

    port: int
    process: int
    phones: Callable[[], Iterable[Iterable[Asking]]]
    held: Callable[[], int]


@dataclass(frozen=True)
class Round:
    """How one crowd was served. `cpu`: seconds of the server's processor for each answer."""

    served: Answered
    cpu: float


def measured(place: Place) -> Round:
    """A crowd goes through a server. Raises AssertionError when an answer was refused or is not there."""
    before, had = _cpu(place.process), place.held()
    served = answered(place.port, place.phones())
    used = _cpu(place.process) - before
    assert not served.refused, f"{served.refused} of {len(served.waits)} answers were refused"
    assert place.held() - had == len(served.waits), "not every acknowledged answer is in the database, once"
    return Round(served, used / len(served.waits))


# ------------------------------------------------------------------------------------------------- ours


@contextmanager
def ours(crowd: int, *, database_url: str = "") -> Iterator[Place]:
    """`pennon serve` with this many officials, whose looks are all open."""
    with TemporaryDirectory(prefix="pennon-bench-") as name:
        data = Path(name)
        with league(data, database_url=database_url) as made:
            secret = made.app.state.secret
            taken = _sittings(made.database, crowd)
            nonces = {(sitting.id, n): _nonce(secret, sitting, n) for sitting in taken for n in range(sitting.asked)}
            made.database.change(_open, nonces)
        asks = [_asks(secret, sitting, nonces) for sitting in taken]
        environment = {"PENNON_DATA": name, "PENNON_WORKER": "no"}
        environment |= {"PENNON_DATABASE_URL": database_url} if database_url else {}
        held = partial(_held_by_sqlite, data / "league.db") if not database_url else partial(_held_by, database_url)
        with _served(["app.cli", "serve"], environment) as (port, process):
            yield Place(port, process, lambda: asks, held)


def _sittings(database: Any, crowd: int) -> list[Sitting]:
    looks = EACH[crowd]
    now = datetime.now(UTC)
    database.change(_people, crowd, now)
    database.change(add_plays, 2 * looks)
    quiz = database.change(publish, PLAN.model_copy(update={"clips": looks}))
    return [database.change(start_sitting, quiz.id, _name(k), now=now) for k in range(crowd)]


def _people(session: Session, crowd: int, now: datetime) -> None:
    for k in range(crowd):
        add_person(session, Person(_name(k), f"Official {k}", Role.OFFICIAL), now)
    session.flush()
    for k in range(crowd):
        add_membership(session, _name(k), "ferry", "assistant", date(2026, 8, 1))
        add_device(session, Device(digest(_name(k)), _name(k), "phone", now, now, now + timedelta(days=30)))


def _name(k: int) -> str:
    return f"bench-official-{k}"


def _nonce(secret: str, sitting: Sitting, n: int) -> str:
    return nonce_of(secret, sitting.id, n, Terms(CLIP, PLENTY, 0))


def _open(session: Session, nonces: dict[tuple[str, int], str]) -> None:
    """As if every phone had opened every look at this instant."""
    now = datetime.now(UTC)
    for sitting in {sitting for sitting, _ in nonces}:
        assert len(list_looks(session, sitting)) >= 1
    rows = [{"s": sitting, "n": n, "nonce": nonce, "now": now.isoformat(" ")} for (sitting, n), nonce in nonces.items()]
    order = "UPDATE question SET state = 'served', nonce = :nonce, served_at = :now WHERE sitting_id = :s AND n = :n"
    session.connection().execute(text(order), rows)


def _asks(secret: str, sitting: Sitting, nonces: dict[tuple[str, int], str]) -> list[Asking]:
    token = sitting.person_id
    key = form_token(secret, digest(token))
    head = (
        f"Host: 127.0.0.1\r\nCookie: {PLAIN_COOKIE}={token}\r\nX-Form-Token: {key}\r\nSec-Fetch-Site: same-origin\r\n"
    )
    opened = time.monotonic()
    return [
        partial(_answer, f"/sittings/{sitting.id}/looks/{n}/answer", head, nonces[sitting.id, n], f"key-{n}", opened)
        for n in range(sitting.asked)
    ]


def _answer(path: str, head: str, nonce: str, key: str, opened: float) -> bytes:
    """A decision that has taken all the time since the look was opened, less a little for the way."""
    decide = max(0, round((time.monotonic() - opened) * 1000) - CLIP - 700)
    body = (
        f'{{"nonce":"{nonce}","idempotency":"{key}","decision":"flag","load":0,"play":{CLIP},"decide":{decide},'
        '"hidden":false,"dropped":0.0}'
    )
    return f"POST {path} HTTP/1.1\r\n{head}{_typed(body)}".encode()


def _typed(body: str) -> str:
    return f"Accept: application/json\r\nContent-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n{body}"


def _held_by_sqlite(path: Path) -> int:
    with sqlite3.connect(path) as database:
        return int(database.execute("SELECT count(*) FROM answer").fetchone()[0])


def _held_by(url: str) -> int:
    import psycopg

    with psycopg.connect(url) as database:
        row = database.execute("SELECT count(*) FROM answer").fetchone()
        return int(row[0]) if row else 0


# ------------------------------------------------------------------------------------------------- the rival


@contextmanager
def theirs(mode: str, crowd: int, *, database_url: str = "") -> Iterator[Place]:
    """A bare endpoint with as many sittings; `mode` as `raw_answers` names it."""
    with TemporaryDirectory(prefix="pennon-bench-") as name:
        where = database_url or str(Path(name) / "raw.db")
        sittings = [(f"token-{k}", f"person-{k}") for k in range(crowd)]
        questions = [(token, n, f"clip-{n}", "served") for token, _ in sittings for n in range(EACH[crowd])]
        _fill(database_url, where, sittings, questions)
        asks = [[partial(_raw_answer, token, n) for n in range(EACH[crowd])] for token, _ in sittings]
        held = partial(_held_by, where) if database_url else partial(_held_by_sqlite, Path(where))
        port = free_port()
        command = ["tests.bench.raw_answers", mode, where, str(port)]
        with _served(command, {}, port) as (_, process):
            yield Place(port, process, lambda: asks, held)


def _fill(url: str, where: str, sittings: list[tuple[str, str]], questions: list[tuple[str, int, str, str]]) -> None:
    if url:
        import psycopg

        with psycopg.connect(url) as database, database.cursor() as cursor:
            cursor.execute(raw_answers.SCHEMA)
            cursor.executemany("INSERT INTO sitting VALUES (%s, %s)", sittings)
            cursor.executemany("INSERT INTO question VALUES (%s, %s, %s, %s)", questions)
        return
    with sqlite3.connect(where) as bare:
        bare.executescript(raw_answers.SCHEMA)
        bare.executemany("INSERT INTO sitting VALUES (?, ?)", sittings)
        bare.executemany("INSERT INTO question VALUES (?, ?, ?, ?)", questions)


def _raw_answer(token: str, n: int) -> bytes:
    body = f'{{"token":"{token}","n":{n},"decision":"flag","decide":900,"key":"key-{n}"}}'
    return f"POST /answer HTTP/1.1\r\nHost: 127.0.0.1\r\n{_typed(body)}".encode()


# ------------------------------------------------------------------------------------------------- both


@contextmanager
def _served(module: Sequence[str], environment: dict[str, str], port: int = 0) -> Iterator[tuple[int, int]]:
    """A program as a server on its core; port and process."""
    port = port or free_port()
    settings = os.environ | environment | {"PENNON_PORT": str(port)}
    command = ["taskset", "-c", str(SERVER_CORE), sys.executable, "-m", *module]
    with subprocess.Popen(command, env=settings, stdout=subprocess.DEVNULL) as process:
        try:
            _await(port, process)
            yield port, process.pid
        finally:
            process.terminate()
            process.wait(PATIENCE_S)


def _await(port: int, process: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + PATIENCE_S
    while process.poll() is None and time.monotonic() < end:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.05)
        else:
            return
    raise OSError("the server does not start")


@contextmanager
def _pinned(core: int) -> Iterator[None]:
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {core})
    try:
        yield
    finally:
        os.sched_setaffinity(0, before)


def _cpu(process: int) -> float:
    """Seconds of the processor that a process has used."""
    numbers = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(numbers[11]) + int(numbers[12])) / os.sysconf("SC_CLK_TCK")


Rounds = tuple[list[Round], list[Round]]


def _both(mode: str, crowd: int, runs: int) -> Rounds:
    """Ours and the rival in turn, each run with a fresh league."""
    found: Rounds = [], []
    with _pinned(PHONES_CORE):
        for _ in range(runs):
            with ours(crowd) as place:
                found[0].append(measured(place))
            with theirs(mode, crowd) as place:
                found[1].append(measured(place))
    return found


def _medians(rounds: Rounds, of: Callable[[Round], float]) -> tuple[float, float]:
    mine, rival = (statistics.median(of(each) for each in side) for side in rounds)
    return mine, rival


def _told(rounds: Rounds, of: Callable[[Round], float]) -> Measured:
    mine, rival = _medians(rounds, of)
    detail: dict[str, Any] = {}
    for name, value in (
        ("cpu_ms", lambda each: each.cpu * 1000),
        ("per_second", lambda each: each.served.per_second),
        ("p99_ms", lambda each: each.served.within(0.99) * 1000),
    ):
        one, other = _medians(rounds, value)
        detail |= {f"ours_{name}": round(one, 2), f"rival_{name}": round(other, 2)}
    return Measured(mine / rival, len(rounds[0]), detail)


def answer_cpu(runs: int) -> Measured:
    """CPU of an answer, ours at full durability against a bare endpoint that may forget in a power cut."""
    return _told(_both("normal", FEW, runs), lambda each: each.cpu)


def answer_rps_50(runs: int) -> Measured:
    """Answers a second of fifty phones against the same."""
    return _told(_both("normal", FEW, runs), lambda each: each.served.per_second)


def answer_rps_50_full(runs: int) -> Measured:
    """Answers a second against a bare endpoint that commits each of them to the disk."""
    return _told(_both("full", FEW, runs), lambda each: each.served.per_second)


def answer_p99_300(runs: int) -> Measured:
    """How long the slowest hundredth of three hundred phones waits, against bare group commit."""
    return _told(_both("group", MANY, runs), lambda each: each.served.within(0.99))


def answer_rps_postgresql(runs: int) -> Measured:
    """Answers a second on PostgreSQL against FastAPI with one statement of psycopg."""
    programs = postgres.programs()
    if programs is None:
        raise OSError("PostgreSQL is not installed")
    found: Rounds = [], []
    with postgres.running(programs) as server:
        for _ in range(runs):
            server.order("CREATE DATABASE league")
            migrate(server.url("league"))
            with _pinned(PHONES_CORE), ours(FEW, database_url=server.url("league")) as place:
                found[0].append(measured(place))
            server.order("DROP DATABASE league WITH (FORCE)")
            server.order("CREATE DATABASE bare")
            with _pinned(PHONES_CORE), theirs("postgresql", FEW, database_url=server.url("bare")) as place:
                found[1].append(measured(place))
            server.order("DROP DATABASE bare WITH (FORCE)")
    return _told(found, lambda each: each.served.per_second)


def answer_rps_beside_build(runs: int) -> Measured:
    """Answers a second of fifty phones while a tape is built on the same machine, against the same without."""
    found: Rounds = [], []
    for _ in range(runs):
        with building(), _pinned(PHONES_CORE), ours(FEW) as place:
            found[0].append(measured(place))
        with _pinned(PHONES_CORE), ours(FEW) as place:
            found[1].append(measured(place))
    return _told(found, lambda each: each.served.per_second)


Bench = Callable[[int], Measured]


def benches() -> list[tuple[str, Bench, int]]:
    """Name in the list of benches, what measures it, how often."""
    return [
        ("answer_cpu", answer_cpu, 3),
        ("answer_rps_50", answer_rps_50, 3),
        ("answer_rps_50_full", answer_rps_50_full, 3),
        ("answer_p99_300", answer_p99_300, 3),
        ("answer_rps_beside_build", answer_rps_beside_build, 3),
        ("answer_rps_postgresql", answer_rps_postgresql, 3),
    ]
