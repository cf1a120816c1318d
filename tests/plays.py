"""A small quiz for tests of every layer: one topic, plays of both sides, cuts that are there without being made."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, date, datetime

from sqlmodel import Session

from app.actions.quiz import keep_cut, publish_quiz
from app.domain.clip import Clip
from app.domain.people import Role
from app.domain.quiz import QuizPlan
from app.domain.recording import Game, House, Prepared, Recording
from app.domain.rulecard import RuleCard, RuleException
from app.domain.timecode import Rate
from app.store.content import (
    add_clip,
    list_clips,
    load_clip,
    save_card,
    save_clip,
    save_exception,
    save_game,
    save_plan,
)
from app.store.people import CrewFacts, Person, add_crew, add_membership, add_person
from app.store.quizzes import AngleCut, Quiz, list_items
from app.store.recordings import add_recording, set_prepared
from tests.domain.samples import CARD

NOW = datetime(2026, 9, 10, 18, 5, tzinfo=UTC)
RATE = Rate(num=30)
HOUSE = House(width=320, height=180, rate=RATE)
FRAMES = 300
HIGH_LATER = 20
LINE, THEN, PLAYED, RESTART = "past-second-last", "involved", "opponent-plays-it", "direct-from-restart"
CARD_WITH_SECOND = RuleCard.model_validate(
    CARD
    | {
        "non_factors": [{"id": "arms", "text": "Only an arm was past the line"}],
        "review_steps": [
            {"of": LINE, "proof": "Grass between the two lines."},
            {"of": THEN, "proof": "The touch is seen."},
            {"of": PLAYED, "proof": "Time and control are seen."},
            {"of": RESTART, "proof": "The restart is seen."},
        ],
        "second_answer": {"question": "Whose restart?", "answers": ["to the attack", "to the defence"]},
    }
)
PLAN = QuizPlan(id="offside", title="Offside, one look", topics=("offside",), clips=4, crews=("ferry",))
REVIEW = QuizPlan.model_validate(
    PLAN.model_dump() | {"id": "review", "title": "Offside, in review", "look": "review", "seconds": 60}
)


def play(n: int, *, recording: str = "line") -> Clip:
    """Play `n`: a flag where it is even; else no flag, because nobody was past the second-last opponent."""
    flag = n % 2 == 0
    shows = {LINE: "present" if flag else "absent", THEN: "present", PLAYED: "absent", RESTART: "absent"}
    key = {
        "topic": "offside",
        "ruling": "flag" if flag else "no flag",
        "decisive": 60,
        "second_answer": "to the defence" if flag else None,
        "findings": [{"of": of, "shows": what, "frame": 40 + 20 * (of == THEN)} for of, what in shows.items()],
    }
    return Clip.model_validate(
        {
            "id": f"play-{n}",
            "title": f"Secret title {n}",
            "game": "g1",
            "views": [{"recording": recording, "in": 30, "out": 200}],
            "keys": [key],
            "reveal": 180,
            "teaching": f"Freeze the contact of play {n}.",
        }
    )


def add_plays(session: Session, count: int = 12, *, prepared: Prepared | None = None) -> list[Clip]:
    """Keep the card, a game, one prepared recording and so many plays on it."""
    save_exception(session, RuleException(id=RESTART, text="Straight from a throw-in"))
    save_card(session, CARD_WITH_SECOND)
    save_game(session, Game(id="g1", title="Gullwick v Sandrey"))
    save_plan(session, PLAN)
    session.flush()
    add_recording(session, Recording(id="line", file="line.mp4", angle="line", game="g1"), "system", NOW)
    ready = prepared or Prepared(digest=digest("line"), house=HOUSE, frames=FRAMES, sound=False)
    set_prepared(session, "line", digest("original"), ready, 1000)
    session.flush()
    plays = [play(n) for n in range(count)]
    for each in plays:
        add_clip(session, each, "system", NOW)
    session.flush()
    return plays


def add_second_view(session: Session, prepared: Prepared | None = None, *, is_ready: bool = True) -> None:
    """The same plays from a high camera, whose recording began `HIGH_LATER` frames before that of the line."""
    high = Recording(id="high", file="high.mp4", angle="high", game="g1", offset=-HIGH_LATER)
    add_recording(session, high, "system", NOW)
    ready = prepared or Prepared(digest=digest("high"), house=HOUSE, frames=FRAMES, sound=False)
    if is_ready:
        set_prepared(session, "high", digest("original high"), ready, 1000)
    session.flush()
    for each in list_clips(session):
        clip, version = load_clip(session, each.id)
        shift = {"recording": "high", "in": 30 + HIGH_LATER, "out": 200 + HIGH_LATER}
        views = [*clip.model_dump(mode="json", by_alias=True)["views"], shift]
        save_clip(
            session, Clip.model_validate({**clip.model_dump(by_alias=True), "views": views}), version, "system", NOW
        )
    session.flush()


def digest(name: str) -> str:
    """A digest that stands for a file nobody made."""
    return hashlib.sha256(name.encode()).hexdigest()


def publish(
    session: Session, plan: QuizPlan = PLAN, *, cut: int = 60, due: datetime | None = None, now: datetime = NOW
) -> Quiz:
    """Publish a quiz of the plays, as if its clips had been cut for phones to so many frames; 0: not yet.

    In review each has one view, in which the tenth frame is the one that decides.
    """
    quiz = publish_quiz(session, plan, RATE, 7, due, "orla", now=now)
    session.flush()
    for item in list_items(session, quiz.id) if cut else ():
        name = digest(f"cut {item.clip_id}")
        angles = (AngleCut("line", "line", name, 50, cut, cut, 0),) if plan.look == "review" else ()
        keep_cut(session, quiz.id, item.n, name, cut, angles, now=now)
    return quiz


def seated(session: Session) -> None:
    """Sil, who sits in the crew that these quizzes are for, and Bram, who sits nowhere."""
    for name in ("sil", "bram"):
        add_person(session, Person(name, name.title(), Role.OFFICIAL), NOW)
    add_crew(session, CrewFacts("ferry", "Ferry", True, None))
    session.flush()
    add_membership(session, "sil", "ferry", "assistant", date(2026, 8, 1))


def titles(plays: Sequence[Clip]) -> list[str]:
    """Their titles, which nobody may read before the end of a check."""
    return [each.title for each in plays]
