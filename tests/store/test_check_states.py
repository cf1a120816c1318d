"""A check as a machine of states: whatever is sent, in whatever order, the facts stay what they were.

Hypothesis draws sequences of everything that a phone, another person or a forger may send. A model beside it holds what
must be true; every answer that was kept once stays as it is, and nothing else is kept.
"""

from __future__ import annotations

import secrets
import shutil
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any
from unittest.mock import patch

import hypothesis.strategies as st
from hypothesis import settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlmodel import Session

from app.actions.sitting import (
    Given,
    finish_sitting,
    open_look,
    skip_look,
    start_sitting,
    submit_answer,
    submit_reason,
)
from app.domain.answer import TimingPolicy
from app.domain.errors import Conflict, NotFound
from app.domain.people import Role
from app.domain.rulecard import Presence, Ruling
from app.store.content import save_clip
from app.store.engine import Database
from app.store.migrate import migrate
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person
from app.store.quizzes import list_quizzes
from app.store.sittings import Sitting, list_answers, list_looks, list_reasons, load_sitting
from tests.plays import LINE, NOW, PLAN, add_plays, publish

POLICY, CLIP = TimingPolicy(), 2000
LOOKS, HURT = 4, 3
"""Looks asked; every third play shows somebody being hurt."""
ASKED = st.integers(0, LOOKS + 1)
KEYS = st.sampled_from(["one", "two"])
HOW: dict[str, dict[str, Any]] = {
    "fine": {},
    "choppy": {"dropped": 0.9},
    "hidden": {"hidden": True},
    "reloaded": {"reopened": True, "load": 0, "play": 0},
    "offline": {"unopened": True, "nonce": ""},
}
CALLS = st.sampled_from([Ruling.FLAG, Ruling.NO_FLAG, None])


@cache
def _filled() -> Path:
    """A database with two officials, plays and a quiz, made once and copied for each run."""
    path = Path(mkdtemp()) / "league.db"
    migrate(f"sqlite:///{path}")
    database = Database(f"sqlite:///{path}")
    database.change(_people)
    for n, clip in enumerate(database.change(add_plays)):
        if n % HURT == 0:
            database.change(save_clip, clip.model_copy(update={"injury": True}), 1, "orla", NOW)
    database.change(publish, PLAN.model_copy(update={"clips": LOOKS}))
    database.close()
    return path


def _people(session: Session) -> None:
    for name in ("sil", "bram"):
        add_person(session, Person(name, name.title(), Role.OFFICIAL), NOW)
    add_crew(session, CrewFacts("ferry", "Ferry", True, None))
    session.flush()
    for name in ("sil", "bram"):
        add_membership(session, name, "ferry", "assistant", date(2026, 8, 1))


@dataclass(frozen=True)
class Kept:
    """An answer as it was acknowledged the first time."""

    key: str
    reply: dict[str, Any]
    row: Any


class Check(RuleBasedStateMachine):
    """One official's check, and everybody who sends something to it."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(mkdtemp())
        self.database = Database(f"sqlite:///{shutil.copy(_filled(), self.folder)}")
        self.now = NOW
        self.opened: dict[int, datetime] = {}
        self.nonces: dict[int, str] = {}
        self.kept: dict[int, Kept] = {}
        self.said: dict[int, tuple[dict[str, Presence], str | None]] = {}
        self.skipped: set[int] = set()

    @initialize()
    def begin(self) -> None:
        with self.database.read() as session:
            quiz = next(iter(_quizzes(session)))
        with patch.object(secrets, "randbelow", lambda _: 7):  # a sequence that failed is tried again in the same order
            self.sitting: Sitting = self.database.change(start_sitting, quiz, "sil", now=NOW)

    def teardown(self) -> None:
        self.database.close()
        shutil.rmtree(self.folder)

    # -------------------------------------------------------------------------------- what is there

    def looks(self) -> dict[int, Any]:
        with self.database.read() as session:
            return {look.n: look for look in list_looks(session, self.sitting.id)}

    def answers(self) -> dict[int, Any]:
        with self.database.read() as session:
            return {each.n: each for each in list_answers(session, sitting_id=self.sitting.id)}

    def refused(self, kind: type[Exception], action: Any, *args: Any) -> None:
        before = (self.looks(), self.answers())
        try:
            self.database.change(action, *args, now=self.now)
        except kind:
            assert (self.looks(), self.answers()) == before
        else:
            raise AssertionError(f"{action.__name__}{args} was not refused")

    def given(self, n: int, key: str, call: Ruling | None, **changes: Any) -> Given:
        base = Given(self.nonces.get(n, "none"), call, 100, CLIP, 900, False, 0.0, 60, f"{n}-{key}")
        return replace(base, **changes)

    # -------------------------------------------------------------------------------- what a phone sends

    @rule(ms=st.integers(0, 9000))
    def time_passes(self, ms: int) -> None:
        self.now += timedelta(milliseconds=ms)

    @rule(n=ASKED, again=st.booleans())
    def open(self, n: int, again: bool) -> None:
        look = self.looks().get(n)
        if look is None:
            self.refused(NotFound, open_look, self.sitting.id, n, "sil", "x")
            return
        nonce = f"nonce-{n}-{self.now.timestamp()}"
        lost = self.nonces.get(n) if again else None
        reply = self.database.change(open_look, self.sitting.id, n, "sil", nonce, lost, now=self.now)
        fresh = look.state == "ahead" or (look.state == "served" and lost is not None)
        assert reply["opened"] is fresh
        if fresh:
            self.opened[n], self.nonces[n] = self.now, nonce
        assert reply["nonce"] == (self.nonces[n] if fresh or look.state == "served" else None)

    @rule(n=ASKED, key=KEYS, call=CALLS, how=st.sampled_from(sorted(HOW)))
    def answer(self, n: int, key: str, call: Ruling | None, how: str) -> None:
        self.send(n, self.given(n, key, call, **HOW[how]))

    @rule(key=KEYS, call=CALLS, how=st.sampled_from(sorted(HOW)))
    def next_look(self, key: str, call: Ruling | None, how: str) -> None:
        n = min((n for n, look in self.looks().items() if look.state in ("ahead", "served")), default=0)
        self.open(n, False)
        self.now += timedelta(milliseconds=3060)
        self.send(n, self.given(n, key, call, **HOW[how]))

    def send(self, n: int, given: Given) -> None:
        look, args = self.looks().get(n), (self.sitting.id, n, "sil", given, POLICY, CLIP)
        if look is None:
            self.refused(NotFound, submit_answer, *args)
        elif n in self.kept and self.kept[n].key != given.idempotency:
            self.refused(Conflict, submit_answer, *args)
        elif n in self.kept:
            assert self.database.change(submit_answer, *args, now=self.now) == self.kept[n].reply
        elif look.state == "served" or (given.unopened and look.state == "ahead"):
            self.take(n, given, args)
        else:
            self.refused(Conflict, submit_answer, *args)

    def take(self, n: int, given: Given, args: tuple[Any, ...]) -> None:
        out_of_sight = sum(self.answers()[k].cause in ("hidden", "reload") for k in self.kept)
        reply = self.database.change(submit_answer, *args, now=self.now)
        row = self.answers()[n]
        self.kept[n] = Kept(given.idempotency, reply, row)
        assert reply["counts"] is row.counts
        if given.unopened:
            assert (row.verdict, row.cause) == ("UNVERIFIED", "offline")
        elif row.cause in ("hidden", "reload"):
            assert row.verdict == ("LATE" if out_of_sight else "VOID")
        if row.verdict == "LATE":
            assert row.decision is None
        elif row.verdict == "OK":
            assert row.decision is given.decision is not None

    @rule(n=ASKED, shows=st.sampled_from(list(Presence)))
    def explain(self, n: int, shows: Presence) -> None:
        args, said = (self.sitting.id, n, "sil", {LINE: shows}, False), ({LINE: shows}, None)
        if n not in self.looks():
            self.refused(NotFound, submit_reason, *args)
        elif n not in self.kept or self.said.get(n, said) != said:
            self.refused(Conflict, submit_reason, *args)
        else:
            self.database.change(submit_reason, *args, now=self.now)
            self.said[n] = said

    @rule(n=ASKED)
    def leave_out(self, n: int) -> None:
        look = self.looks().get(n)
        if look is None:
            self.refused(NotFound, skip_look, self.sitting.id, n, "sil")
        elif n in self.skipped or (look.state == "ahead" and int(look.clip_id[5:]) % HURT == 0):
            self.database.change(skip_look, self.sitting.id, n, "sil", now=self.now)
            self.skipped.add(n)
        else:
            self.refused(Conflict, skip_look, self.sitting.id, n, "sil")

    @rule()
    def start_again(self) -> None:
        if self.ended() is None:
            assert self.database.change(start_sitting, self.sitting.quiz_id, "sil", now=self.now) == self.sitting

    @rule()
    def finish(self) -> None:
        left = any(look.state in ("ahead", "served") for look in self.looks().values())
        called = {n for n, each in self.kept.items() if each.row.verdict == "OK"}
        if left or called - set(self.said):
            self.refused(Conflict, finish_sitting, self.sitting.id, "sil")
        else:
            before = self.ended()
            self.database.change(finish_sitting, self.sitting.id, "sil", now=self.now)
            assert self.ended() == (before or self.now)

    def ended(self) -> datetime | None:
        with self.database.read() as session:
            return load_sitting(session, self.sitting.id).ended_at

    # -------------------------------------------------------------------------------- what others send

    @rule(n=ASKED, key=KEYS, unopened=st.booleans())
    def somebody_else(self, n: int, key: str, unopened: bool) -> None:
        given = self.given(n, key, Ruling.FLAG, unopened=unopened)
        for action, args in (
            (open_look, ("x",)), (submit_answer, (given, POLICY, CLIP)), (skip_look, ()),
            (submit_reason, ({LINE: Presence.PRESENT}, False)),
        ):  # fmt: skip
            self.refused(NotFound, action, self.sitting.id, n, "bram", *args)
        self.refused(NotFound, finish_sitting, self.sitting.id, "bram")

    @precondition(lambda self: self.opened.keys() - self.kept.keys())
    @rule(key=KEYS, other=ASKED)
    def forge(self, key: str, other: int) -> None:
        n = min(self.opened.keys() - self.kept.keys())
        nonce = self.nonces.get(other, "forged") if other != n else "forged"
        forged = self.given(n, key, Ruling.FLAG, nonce=nonce)
        self.refused(Conflict, submit_answer, self.sitting.id, n, "sil", forged, POLICY, CLIP)

    # -------------------------------------------------------------------------------- what always holds

    @invariant()
    def what_was_kept_stays_as_it_was(self) -> None:
        assert self.answers() == {n: each.row for n, each in self.kept.items()}
        with self.database.read() as session:
            reasons = list_reasons(session, self.sitting.id)
        assert {n: (each.shows, each.second_answer) for n, each in reasons.items()} == self.said

    @invariant()
    def a_look_is_closed_by_its_answer_alone_and_replaced_by_its_kind(self) -> None:
        looks = self.looks()
        for n, look in looks.items():
            closed = "decided" if n in self.kept and self.kept[n].row.counts else "void"
            is_open = "served" if n in self.opened else "ahead"
            assert look.state == (closed if n in self.kept or n in self.skipped else is_open)
        assert len({look.item for look in looks.values()}) == len(looks)
        void = [look for look in looks.values() if look.state == "void"]
        kinds = [(look.topic, look.side) for look in looks.values() if look.n >= LOOKS]
        assert all(kinds.count(kind) <= sum((each.topic, each.side) == kind for each in void) for kind in set(kinds))


def _quizzes(session: Session) -> list[str]:
    return [quiz.id for quiz in list_quizzes(session)]


TestCheck = Check.TestCase
TestCheck.settings = settings(max_examples=40, stateful_step_count=40)
