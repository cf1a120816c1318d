"""Sixty phones answering on an SQLite database: prints each answer that was acknowledged, until it is killed.

Run as `python -m tests.store.busy_phones FILE`; a line holds the sitting and the number of the look.
"""

from __future__ import annotations

import os
import sys
from datetime import date, timedelta
from threading import Thread

from sqlmodel import Session

from app.actions.sitting import Given, open_look, start_sitting, submit_answer
from app.domain.answer import TimingPolicy
from app.domain.people import Role
from app.domain.rulecard import Ruling
from app.store.engine import Database
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person
from app.store.sittings import Sitting
from tests.plays import NOW, PLAN, add_plays, publish

PHONES = 60
LOOKS = 16


def main(url: str) -> None:
    """All phones at once, each through its check."""
    database = Database(url)
    database.change(_people)
    database.change(add_plays, 2 * LOOKS)
    quiz = database.change(publish, PLAN.model_copy(update={"clips": LOOKS}))
    sittings = [database.change(start_sitting, quiz.id, f"official-{n}", now=NOW) for n in range(PHONES)]
    phones = [Thread(target=_answer_all, args=(database, sitting)) for sitting in sittings]
    for phone in phones:
        phone.start()
    for phone in phones:
        phone.join()


def _people(session: Session) -> None:
    add_crew(session, CrewFacts("ferry", "Ferry", True, None))
    for n in range(PHONES):
        add_person(session, Person(f"official-{n}", f"Official {n}", Role.OFFICIAL), NOW)
    session.flush()
    for n in range(PHONES):
        add_membership(session, f"official-{n}", "ferry", "assistant", date(2026, 8, 1))


def _answer_all(database: Database, sitting: Sitting) -> None:
    for n in range(LOOKS):
        database.change(open_look, sitting.id, n, sitting.person_id, "nonce", now=NOW)
        given = Given("nonce", Ruling.FLAG, 100, 2000, 900, False, 0.0, 60, f"key-{n}")
        args = (sitting.id, n, sitting.person_id, given, TimingPolicy(), 2000)
        database.change(submit_answer, *args, now=NOW + timedelta(milliseconds=3060))
        os.write(1, f"{sitting.id} {n}\n".encode())  # at once: what stays in a buffer would die with the process


if __name__ == "__main__":
    main(sys.argv[1])
