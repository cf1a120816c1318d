"""Reviews on a real database: opened once, looked at again while the clock runs, decided once; counted nowhere else."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlmodel import Session

from app.actions.result import in_review, result_of, results_of, tendency_in
from app.actions.reviewing import Said, open_review, question_of, submit_review
from app.actions.sitting import finish_sitting, start_sitting, submit_reason
from app.domain.answer import TimingPolicy
from app.domain.clip import Called
from app.domain.errors import Conflict, NotFound
from app.domain.rulecard import Presence, ReviewOutcome, Ruling
from app.store.content import load_clip, save_clip
from app.store.engine import Database
from app.store.evidence import list_evidence, list_marks
from app.store.quizzes import find_cuts
from app.store.reviews import find_angle, find_opening
from app.store.sittings import Look, Sitting, find_unsaid, list_answers, list_looks, load_sitting
from tests.plays import NOW, REVIEW, add_plays, publish, seated

POLICY = TimingPolicy(deadline=60_000)
MS = timedelta(milliseconds=1)


@pytest.fixture
def database(url: str) -> Iterator[Database]:
    made = Database(url)
    made.change(seated)
    made.change(add_plays)
    yield made
    made.close()


@pytest.fixture
def sitting(database: Database) -> Sitting:
    quiz = database.change(publish, REVIEW)
    made: Sitting = database.change(start_sitting, quiz.id, "sil", now=NOW)
    return made


def looks(database: Database, sitting: Sitting) -> list[Look]:
    with database.read() as session:
        return list_looks(session, sitting.id)


def opened(database: Database, sitting: Sitting, n: int, *, nonce: str = "", now: datetime = NOW) -> Ruling:
    """Open a look; what was called on the field."""
    database.change(open_review, sitting.id, n, "sil", nonce or f"nonce-{n}", now=now)
    with database.read() as session:
        called, _ = find_opening(session, sitting.id, n)
    assert called is not None
    return called


def said(n: int, outcome: ReviewOutcome | None = "stands", **changes: Any) -> Said:
    base: dict[str, Any] = {
        "nonce": f"nonce-{n}", "outcome": outcome, "angle": 0, "frame": 12, "after": 40_000, "rtt": 60,
        "idempotency": f"key-{n}",
    }  # fmt: skip
    return Said(**base | changes)


def decided(
    database: Database, sitting: Sitting, n: int, what: Said, *, after: int = 40_060, person: str = "sil"
) -> dict[str, Any]:
    """Decide, so many milliseconds after the look was opened."""
    reply: dict[str, Any] = database.change(submit_review, sitting.id, n, person, what, POLICY, now=NOW + after * MS)
    return reply


def verdicts(database: Database, sitting: Sitting) -> list[str]:
    with database.read() as session:
        return [each.verdict for each in list_answers(session, sitting_id=sitting.id)]


def right_end(look: Look, called: Ruling) -> ReviewOutcome:
    """How the review of a play ends: all of them are decided by the picture."""
    if look.side is called:
        return "confirmed"
    return "flag added" if called is Ruling.NO_FLAG else "flag removed"


def test_what_was_called_is_kept_when_a_look_is_opened_and_never_changes(database: Database, sitting: Sitting) -> None:
    with database.read() as session:
        assert find_opening(session, sitting.id, 0)[0] is None
    first = opened(database, sitting, 0)
    again = database.change(open_review, sitting.id, 0, "sil", "another", now=NOW + timedelta(minutes=5))
    assert again == {"opened": False, "state": "served", "nonce": "nonce-0"}
    assert looks(database, sitting)[0].served_at == NOW
    with database.read() as session:
        assert question_of(session, load_sitting(session, sitting.id), 0, NOW.date()).called is first
    assert {opened(database, sitting, n) for n in range(len(looks(database, sitting)))} == set(Ruling)


def test_a_call_that_becomes_known_later_changes_no_look_that_is_open(database: Database, sitting: Sitting) -> None:
    first = opened(database, sitting, 0)
    other = Ruling.NO_FLAG if first is Ruling.FLAG else Ruling.FLAG
    for look in looks(database, sitting):
        database.change(_called, look.clip_id, other, now=NOW)
    assert opened(database, sitting, 0) is first
    assert opened(database, sitting, 1) is other


def _called(session: Session, clip_id: str, ruling: Ruling, *, now: datetime) -> None:
    clip, version = load_clip(session, clip_id)
    save_clip(session, clip.model_copy(update={"called": Called(ruling=ruling)}), version, "orla", now)


def test_a_review_is_taken_and_stands_in_its_result_and_nowhere_else(database: Database, sitting: Sitting) -> None:
    planned = looks(database, sitting)
    for look in planned:
        called = opened(database, sitting, look.n)
        end: ReviewOutcome = right_end(look, called) if look.n != 1 else "stands"
        frame = {0: 14, 1: 40}.get(look.n, 10)  # the one that decides is the tenth of the cut
        reply = decided(database, sitting, look.n, said(look.n, end, frame=frame))
        assert reply["counts"]
        with database.read() as session:
            unsaid = find_unsaid(session, sitting.id)
        assert unsaid is not None
        assert unsaid.n == look.n
        with pytest.raises(Conflict, match="reason" if look.n == planned[-1].n else "looks left"):
            database.change(finish_sitting, sitting.id, "sil", now=NOW)
        database.change(submit_reason, sitting.id, look.n, "sil", {"": Presence.CANT_TELL}, False, now=NOW)
    database.change(finish_sitting, sitting.id, "sil", now=NOW)
    with database.read() as session:
        result = result_of(session, sitting.id)
        assert list_evidence(session) == {}
        assert list_marks(session) == []
        results = results_of(session, "sil")
        assert find_cuts(session, [look.clip_id for look in planned]) == {}
    assert (result.right, result.counted, result.frames) == (3, 4, (2, 4))
    marks = [look.review for look in result.looks]
    assert [None if each is None else each.off for each in marks] == [4, 30, 0, 0]
    together = in_review(results)
    assert (together.right, together.looks, together.found, together.frames) == (3, 4, 2, 4)
    assert tendency_in(results).missed.of == 0


@pytest.mark.parametrize(
    ("what", "after", "verdict"),
    [
        ({}, 40_060, "REVIEW"),
        ({"after": 60_100}, 60_200, "REVIEW"),  # within what a touchscreen may take
        ({"after": 60_200}, 60_300, "REVIEW LATE"),
        ({"outcome": None, "after": 60_000}, 60_100, "REVIEW LATE"),
        ({"outcome": None, "after": 5_000}, 5_100, "REVIEW LATE"),
        ({"after": 40_000}, 45_000, "UNVERIFIED"),  # five seconds that nothing explains
        ({"after": 40_000}, 20_000, "VOID"),  # more time than has passed
        ({"after": -5}, 20_000, "VOID"),
    ],
)
def test_the_clock_of_a_review_is_the_servers(
    database: Database, sitting: Sitting, what: dict[str, Any], after: int, verdict: str
) -> None:
    opened(database, sitting, 0)
    before = len(looks(database, sitting))
    reply = decided(database, sitting, 0, said(0, **what), after=after)
    assert verdicts(database, sitting) == [verdict]
    assert reply["counts"] is verdict.startswith("REVIEW")
    assert reply["in_time"] is (verdict == "REVIEW")
    replaced = len(looks(database, sitting)) - before
    assert replaced == (0 if reply["counts"] else 1)


def test_a_decision_is_kept_once_and_by_its_own_person_alone(database: Database, sitting: Sitting) -> None:
    with pytest.raises(Conflict, match="not been opened"):
        decided(database, sitting, 0, said(0))
    opened(database, sitting, 0)
    with pytest.raises(NotFound):
        decided(database, sitting, 0, said(0), person="bram")
    for wrong in ({"nonce": "forged"}, {"angle": 7}, {"outcome": "flag nowhere"}):
        with pytest.raises(Conflict):
            decided(database, sitting, 0, said(0, **wrong))
    first = decided(database, sitting, 0, said(0))
    assert decided(database, sitting, 0, said(0, "confirmed"), after=50_000) == first
    with pytest.raises(Conflict, match="already"):
        decided(database, sitting, 0, said(0, idempotency="other"))
    assert verdicts(database, sitting) == ["REVIEW"]


def test_an_outcome_that_the_call_does_not_allow_is_refused(database: Database, sitting: Sitting) -> None:
    called = opened(database, sitting, 0)
    other: ReviewOutcome = "flag added" if called is Ruling.FLAG else "flag removed"
    with pytest.raises(Conflict, match="cannot end so"):
        decided(database, sitting, 0, said(0, other))


def test_the_last_picture_is_held_so_whoever_names_it_names_the_last_that_was_shown(
    database: Database, sitting: Sitting
) -> None:
    opened(database, sitting, 0)
    decided(database, sitting, 0, said(0, frame=10_000))
    with database.read() as session:
        [answer] = list_answers(session, sitting_id=sitting.id)
        angle = find_opening(session, sitting.id, 0)[1][0]
    assert (answer.found["recording"], answer.found["frame"]) == ("line", angle.first + angle.shown - 1)


def test_a_clip_may_be_fetched_as_often_as_wanted_until_it_is_decided(database: Database, sitting: Sitting) -> None:
    asset = looks(database, sitting)[0].asset

    def fetched(k: int = 0, person: str = "sil") -> bool:
        with database.read() as session:
            return find_angle(session, asset, k, person) is not None

    assert fetched()
    opened(database, sitting, 0)
    assert [fetched(), fetched(0), fetched(5), fetched(0, "bram")] == [True, True, False, False]
    decided(database, sitting, 0, said(0))
    assert not fetched()
