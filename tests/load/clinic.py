"""A clinic: many officials of one league, each with a check that has been begun, and phones that know the way to it."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sqlmodel import Session

from app.actions.sitting import start_sitting
from app.adapters.files import Library
from app.domain.people import Role
from app.store.devices import Device, add_device
from app.store.people import Person, add_membership, add_person
from app.store.quizzes import Quiz, list_items
from app.web.auth import digest, form_token
from tests.plays import PLAN, add_plays, publish
from tests.web.league import League, league
from tests.web.sitting import SHORT
from tests.web.tus import Sender

LOOKS = 5
CUT = 200_000
"""Bytes of a clip: half of what the longest may have."""


@dataclass(frozen=True)
class Seat:
    """One phone: its device's token, the form key of that, its sitting."""

    token: str
    key: str
    sitting: str


@dataclass(frozen=True)
class Clinic:
    """What stands in a data folder. `supervisor`: a device of theirs."""

    data: Path
    seats: Sequence[Seat]
    supervisor: Sender


def opened(data: Path, clients: int) -> Clinic:
    """A league with so many officials, and a published quiz that all of them have begun."""
    with league(data) as made:
        made.browser("supervisor")
        secret, names = made.app.state.secret, [f"clinic-official-{k}" for k in range(clients)]
        made.database.change(_people, names)
        made.database.change(add_plays, 4 * LOOKS)
        quiz = made.database.change(publish, PLAN.model_copy(update={"clips": LOOKS}), cut=SHORT)
        _film(made, quiz)
        sittings = made.database.change(_begin, quiz.id, names)
        token = "supervisor-test"
        supervisor = Sender(0, token, form_token(secret, digest(token)))
    seats = [Seat(name, form_token(secret, digest(name)), sittings[name]) for name in names]
    return Clinic(data, seats, supervisor)


def _people(session: Session, names: Sequence[str]) -> None:
    now = datetime.now(UTC)
    for k, name in enumerate(names):
        add_person(session, Person(name, f"Official {k}", Role.OFFICIAL), now)
    session.flush()
    for name in names:
        add_membership(session, name, "ferry", "assistant", date(2026, 8, 1))
        add_device(session, Device(digest(name), name, "phone", now, now, now + timedelta(days=30)))


def _begin(session: Session, quiz_id: str, names: Sequence[str]) -> dict[str, str]:
    now = datetime.now(UTC)
    return {name: start_sitting(session, quiz_id, name, now=now).id for name in names}


def _film(made: League, quiz: Quiz) -> None:
    """Cuts that have the length of real ones; what they show is not looked at here."""
    chance, library = random.Random(7), Library(made.data)
    with made.database.read() as session:
        cuts = [item.cut for item in list_items(session, quiz.id)]
    for cut in cuts:
        assert cut is not None
        path = library.cut(cut)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(chance.randbytes(CUT))


@dataclass(frozen=True)
class Held:
    """What a database holds of a check. `answers`: (sitting, look) -> (key, decision or None); `reasons`: pairs."""

    answers: Sequence[tuple[str, int, str, str | None]]
    reasons: frozenset[tuple[str, int]]
    ended: frozenset[str]


def held(data: Path) -> Held:
    """Read it, whoever else has it open."""
    with closing(sqlite3.connect(data / "league.db", timeout=30)) as database:
        [(verdict,)] = database.execute("PRAGMA integrity_check").fetchall()
        assert verdict == "ok", verdict
        return Held(
            database.execute("SELECT sitting_id, n, idempotency, decision FROM answer").fetchall(),
            frozenset(database.execute("SELECT sitting_id, n FROM reason").fetchall()),
            frozenset(each for (each,) in database.execute("SELECT id FROM sitting WHERE ended_at IS NOT NULL")),
        )
