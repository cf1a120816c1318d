"""A curriculum: everything a league teaches and asks, as one value; and what does not fit together in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from pydantic import field_validator

from app.domain.base import Id, Value, Words
from app.domain.clearance import ClearancePolicy
from app.domain.clip import Clip, Finding, Key, View
from app.domain.errors import BadInput, Misplaced
from app.domain.guard import outside, refusal_of
from app.domain.lesson import Lesson, settled
from app.domain.people import Crew, Position
from app.domain.quiz import QuizPlan
from app.domain.recording import Game, House, Recording
from app.domain.rulecard import RuleCard, RuleException, overlapping
from app.domain.ruling import disagreement

Path = tuple[str | int, ...]
"""Where in the curriculum: ("clips", "offside-03", "keys", 0, "findings", 2, "of"); a name stands for its id."""


class About(Value):
    """What the curriculum is for. `rule_book`: the edition against which the cards were worded."""

    id: Id
    title: Words
    league: Words
    sport: Words
    rule_book: Words
    caution: Words
    media: Words = "."
    house: House = House()


_T = TypeVar("_T", bound=Value)

KINDS = ("crews", "games", "recordings", "exceptions", "cards", "clips", "lessons", "quiz_plans", "policies")
"""The lists that are kept in the order of their ids (positions keep the order in which they are written)."""


def _by_id(items: tuple[_T, ...]) -> tuple[_T, ...]:
    """One order whatever the files were called, so that loading what was dumped gives the same value."""

    def place(item: _T) -> tuple[str, str]:
        return str(getattr(item, "id", "")), str(getattr(item, "effective_from", None) or "")

    return tuple(sorted(items, key=place))


class Curriculum(Value):
    """The whole text of a curriculum. Clips, cards, lessons and the rest are kept in the order of their ids."""

    about: About
    positions: tuple[Position, ...] = ()
    crews: tuple[Crew, ...] = ()
    games: tuple[Game, ...] = ()
    recordings: tuple[Recording, ...] = ()
    exceptions: tuple[RuleException, ...] = ()
    cards: tuple[RuleCard, ...] = ()
    clips: tuple[Clip, ...] = ()
    lessons: tuple[Lesson, ...] = ()
    quiz_plans: tuple[QuizPlan, ...] = ()
    policies: tuple[ClearancePolicy, ...] = ()

    @field_validator(*KINDS)
    @classmethod
    def _in_order(cls, items: tuple[_T, ...]) -> tuple[_T, ...]:
        return _by_id(items)

    def clip_by_id(self) -> dict[str, Clip]:
        """Clips by their id."""
        return {clip.id: clip for clip in self.clips}

    def recording_by_id(self) -> dict[str, Recording]:
        """Recordings by their id."""
        return {recording.id: recording for recording in self.recordings}

    def lesson(self, name: str) -> Lesson:
        """A lesson by its id. Raises BadInput with the names there are."""
        for lesson in self.lessons:
            if lesson.id == name:
                return lesson
        names = ", ".join(lesson.id for lesson in self.lessons) or "none"
        raise BadInput(f'there is no lesson "{name}" in this curriculum; there are: {names}')


@dataclass(frozen=True)
class Fault:
    """Something that does not fit: where, what, what would be right. A warning does not stop anything."""

    path: Path
    what: str
    expected: str = ""
    warning: bool = False


def faults(curriculum: Curriculum) -> Iterator[Fault]:
    """Everything in a curriculum that does not fit together: twins, unknown names, frames outside, disagreements."""
    yield from _twins(curriculum)
    yield from _people_faults(curriculum)
    yield from _card_faults(curriculum)
    for clip in curriculum.clips:
        yield from _clip_faults(clip, curriculum)
    for lesson in curriculum.lessons:
        yield from _lesson_faults(lesson, curriculum)
    yield from _plan_faults(curriculum)


def _unknown(path: Path, kind: str, name: str, known: Iterable[str]) -> Iterator[Fault]:
    names = sorted(set(known))
    if name not in names:
        yield Fault(path, f'there is no {kind} "{name}"', f"one of {_some(names)}" if names else f"a {kind} first")


def _some(names: list[str]) -> str:
    return ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")


def _twins(curriculum: Curriculum) -> Iterator[Fault]:
    for kind in ("positions", *(kind for kind in KINDS if kind != "cards")):
        seen: set[str] = set()
        for item in getattr(curriculum, kind):
            if item.id in seen:
                yield Fault((kind, item.id, "id"), f'the id "{item.id}" is used twice', "an id of its own")
            seen.add(item.id)
    for one, _ in overlapping(curriculum.cards):
        yield Fault(("cards", one.id, "id"), f'two cards "{one.id}" are in force on the same day', "dates apart")


def _topics(curriculum: Curriculum) -> set[str]:
    return {card.id for card in curriculum.cards}


def _people_faults(curriculum: Curriculum) -> Iterator[Fault]:
    positions = [position.id for position in curriculum.positions]
    for position in curriculum.positions:
        for topic in position.view:
            yield from _unknown(("positions", position.id, "view", topic), "topic", topic, _topics(curriculum))
    for crew in curriculum.crews:
        for index, member in enumerate(crew.members):
            path = ("crews", crew.id, "members", index, "position")
            yield from _unknown(path, "position", member.position, positions)
    games = [game.id for game in curriculum.games]
    for recording in curriculum.recordings:
        if recording.game is not None:
            yield from _unknown(("recordings", recording.id, "game"), "game", recording.game, games)


def _card_faults(curriculum: Curriculum) -> Iterator[Fault]:
    shared = [exception.id for exception in curriculum.exceptions]
    for card in curriculum.cards:
        for index, name in enumerate(card.shared_exceptions):
            yield from _unknown(("cards", card.id, "shared_exceptions", index), "shared exception", name, shared)


def _clip_faults(clip: Clip, curriculum: Curriculum) -> Iterator[Fault]:
    here: Path = ("clips", clip.id)
    recordings = [recording.id for recording in curriculum.recordings]
    for index, view in enumerate(clip.views):
        yield from _unknown((*here, "views", index, "recording"), "recording", view.recording, recordings)
    if clip.game is not None:
        yield from _unknown((*here, "game"), "game", clip.game, (game.id for game in curriculum.games))
    if clip.looks_like is not None:
        yield from _unknown((*here, "looks_like"), "clip", clip.looks_like, (other.id for other in curriculum.clips))
    positions = [position.id for position in curriculum.positions]
    for index, name in enumerate(clip.called.positions):
        yield from _unknown((*here, "called", "positions", index), "position", name, positions)
    for index, name in enumerate(clip.called.helped):
        yield from _unknown((*here, "called", "helped", index), "position", name, positions)
    yield from _instant_faults(clip)
    house = curriculum.about.house
    for box in outside(clip, house):
        size = f"{house.width} x {house.height}"
        yield Fault((*here, "hidden"), f"a hidden part reaches outside the picture of {size} ({box.left}, {box.top})")
    for index, key in enumerate(clip.keys):
        yield from _key_faults(clip, key, (*here, "keys", index), curriculum)


def _instant_faults(clip: Clip) -> Iterator[Fault]:
    here: Path = ("clips", clip.id)
    first = clip.views[0]
    if clip.reveal is not None and not first.span.holds(clip.reveal):
        yield Fault((*here, "reveal"), f"the reveal ({clip.reveal}) is not in the first view", _between(first))
    for index, mark in enumerate(clip.marks):
        yield from _frame_fault(clip, mark.frame, mark.view, (*here, "marks", index))


def _between(view: View) -> str:
    return f"a frame from {view.in_} to {view.out - 1}"


def _frame_fault(clip: Clip, frame: int, name: str | None, path: Path) -> Iterator[Fault]:
    view = clip.view(name)
    if view is None:
        names = ", ".join(each.recording for each in clip.views)
        yield Fault((*path, "view"), f'the clip has no view on the recording "{name}"', f"one of {names}")
    elif not view.span.holds(frame):
        yield Fault((*path, "frame"), f"frame {frame} is not in the view", _between(view))


def _key_faults(clip: Clip, key: Key, path: Path, curriculum: Curriculum) -> Iterator[Fault]:
    cards = [card for card in curriculum.cards if card.id == key.topic]
    if not cards:
        yield from _unknown((*path, "topic"), "topic", key.topic, _topics(curriculum))
        return
    card = _card_of(clip, cards, curriculum)
    first = clip.views[0]
    if not first.span.holds(key.decisive):
        yield Fault((*path, "decisive"), f"frame {key.decisive} is not in the first view", _between(first))
    for index, finding in enumerate(key.findings):
        yield from _finding_faults(clip, finding, card, (*path, "findings", index))
    if key.variant is not None:
        yield from _unknown((*path, "variant"), "variant", key.variant, (variant.id for variant in card.variants))
    yield from _second_answer_faults(key, card, path)
    for instant in card.instants:
        if instant.id not in {mark.id for mark in clip.marks}:
            what = f'the clip does not mark "{instant.id}" ({instant.text}), an instant of its card'
            yield Fault(path, what, warning=True)
    if any(key.topic in plan.topics for plan in curriculum.quiz_plans):
        refusal = refusal_of(clip, key, curriculum.about.house.rate)
        if refusal is not None:
            yield Fault(path, f"no quiz can ask about this clip: {refusal}", warning=True)
    sentence = disagreement(card, key.shown, key.ruling, leave_it=bool(key.leave_it))
    if sentence:
        yield Fault((*path, "ruling"), sentence, warning=True)


def _card_of(clip: Clip, cards: list[RuleCard], curriculum: Curriculum) -> RuleCard:
    """The card in force on the day of the clip's game; the newest where the day is not known."""
    day = next((game.on for game in curriculum.games if game.id == clip.game), None)
    in_force = [card for card in cards if day is not None and card.holds_on(day)]
    return (in_force or cards)[-1]


def _finding_faults(clip: Clip, finding: Finding, card: RuleCard, path: Path) -> Iterator[Fault]:
    known = (*card.element_ids, *card.exception_ids)
    yield from _unknown((*path, "of"), f'element or exception of "{card.id}"', finding.of, known)
    if finding.frame is not None:
        yield from _frame_fault(clip, finding.frame, finding.view, path)


def _second_answer_faults(key: Key, card: RuleCard, path: Path) -> Iterator[Fault]:
    if key.second_answer is None:
        return
    if card.second_answer is None:
        yield Fault((*path, "second_answer"), f'the card "{card.id}" asks no second answer', "no second_answer")
    else:
        yield from _unknown((*path, "second_answer"), "answer", key.second_answer, card.second_answer.answers)


def _lesson_faults(lesson: Lesson, curriculum: Curriculum) -> Iterator[Fault]:
    clips = curriculum.clip_by_id()
    for index, topic in enumerate(lesson.topics):
        yield from _unknown(("lessons", lesson.id, "topics", index), "topic", topic, _topics(curriculum))
    for index, step in enumerate(lesson.steps):
        try:
            settled(step, clips, curriculum.about.house)
        except Misplaced as error:
            yield Fault(("lessons", lesson.id, "steps", index, *error.path), str(error))


def _plan_faults(curriculum: Curriculum) -> Iterator[Fault]:
    crews = [crew.id for crew in curriculum.crews]
    named: tuple[tuple[str, Iterable[QuizPlan | ClearancePolicy]], ...] = (
        ("quiz_plans", curriculum.quiz_plans),
        ("policies", curriculum.policies),
    )
    for kind, plans in named:
        for plan in plans:
            for index, topic in enumerate(plan.topics):
                yield from _unknown((kind, plan.id, "topics", index), "topic", topic, _topics(curriculum))
    for plan in curriculum.quiz_plans:
        if plan.purpose != "check":
            told = f'a quiz plan is for checks, not for "{plan.purpose}"'
            yield Fault(("quiz_plans", plan.id, "purpose"), told, "a policy: checks for clearance are made of policies")
        for index, crew in enumerate(plan.crews):
            yield from _unknown(("quiz_plans", plan.id, "crews", index), "crew", crew, crews)


Lengths = Callable[[str], int | None]
"""Frames of a prepared recording by its id; None when it is not known."""


def length_faults(curriculum: Curriculum, lengths: Lengths) -> Iterator[Fault]:
    """Views that reach beyond the end of their recording."""
    for clip in curriculum.clips:
        for index, view in enumerate(clip.views):
            frames = lengths(view.recording)
            if frames is not None and view.out > frames:
                what = f"out ({view.out}) is beyond the end of the recording"
                yield Fault(("clips", clip.id, "views", index, "out"), what, f"at most {frames}")
