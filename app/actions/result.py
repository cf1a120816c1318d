"""The result of a check: every look with what was called, the answer by the key as it is now, and the reason given."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session

from app.actions.clearing import goes_on
from app.actions.reviewing import steps_of
from app.domain.answer import attempt_holds
from app.domain.clip import Clip, Key
from app.domain.errors import NotFound
from app.domain.marking import Said, contradicted, deciding, right_decision, right_reason, right_second
from app.domain.reviewing import Review, Reviewed, reviewed
from app.domain.rulecard import Element, RuleCard, RuleException, card_on
from app.domain.tendency import Tendency, tendency
from app.store.content import clips_by_id, list_cards, list_exceptions
from app.store.quizzes import Quiz, load_quiz
from app.store.sittings import (
    PRACTICE,
    REVIEWED,
    Answer,
    Reasons,
    Sitting,
    list_answers,
    list_reasons,
    list_sittings,
    load_sitting,
)


@dataclass(frozen=True)
class MarkedLook:
    """One answered look. `number`: among those that count, from 1; None for one that does not count.

    In a practice, where nothing counts anywhere, all are numbered. `card`: the rule as it was on the day of the answer.
    `review`: what a review look asks besides; None of a live one.
    """

    n: int
    number: int | None
    answer: Answer
    reasons: Reasons | None
    clip: Clip
    key: Key
    card: RuleCard
    review: Reviewed | None = None

    @property
    def counts(self) -> bool:
        """Whether it is scored."""
        return self.number is not None

    @property
    def is_practice(self) -> bool:
        """It was called and could not be timed: it does not count, and is worth looking at all the same."""
        return self.answer.verdict == "UNVERIFIED" and self.answer.decision is not None

    @property
    def is_late(self) -> bool:
        """Nothing was decided in time."""
        return self.counts and self.answer.decision is None

    @property
    def is_right(self) -> bool:
        """The decision is that of the key; in review the outcome is that of the card."""
        if self.review is not None:
            return self.counts and not self.is_late and self.review.is_right
        return self.counts and right_decision(self.key, self.answer.decision)

    @property
    def said(self) -> Said:
        """What was said of elements and exceptions; nothing where no reason was given."""
        return {} if self.reasons is None else self.reasons.shows

    @property
    def reason_holds(self) -> bool | None:
        """Whether the reason is right; None where none was given."""
        if self.reasons is None:
            return None
        return right_reason(self.card, self.key, self.said, is_whole=self.reasons.is_whole)

    @property
    def second_holds(self) -> bool | None:
        """Whether the second answer is right; None where there is nothing to compare."""
        return None if self.reasons is None else right_second(self.key, self.reasons.second_answer)

    @property
    def wrong(self) -> tuple[str, ...]:
        """Elements and exceptions of which the picture shows the opposite of what was said."""
        return contradicted(self.key, self.said)

    @property
    def deciding(self) -> str:
        """The element or exception that explains the answer best."""
        return deciding(self.card, self.key, self.said)


@dataclass(frozen=True)
class Result:
    """A check that was taken. `exceptions`: those that cards share, by id."""

    quiz: Quiz
    sitting: Sitting
    looks: tuple[MarkedLook, ...]
    exceptions: Mapping[str, RuleException]

    @property
    def counted(self) -> int:
        """Looks that count."""
        return sum(look.counts for look in self.looks)

    @property
    def holds(self) -> bool:
        """Whether it is a fair sample; else too many of its looks were replaced, and nothing of it counts anywhere."""
        verdicts = [look.answer.verdict for look in self.looks]
        return attempt_holds(self.sitting.asked, verdicts.count("VOID"), verdicts.count("UNVERIFIED"))

    @property
    def right(self) -> int:
        """Looks that were decided right."""
        return sum(look.is_right for look in self.looks)

    @property
    def is_review(self) -> bool:
        """Whether its looks were reviews: they say nothing of looks at full speed, so nothing else counts them."""
        return self.quiz.plan.look == "review"

    @property
    def frames(self) -> tuple[int, int]:
        """Of the review looks that count: frames found, and frames asked for."""
        marks = [look.review.is_found for look in self.looks if look.counts and look.review is not None]
        return marks.count(True), len(marks) - marks.count(None)

    def look(self, n: int) -> MarkedLook:
        """One of the looks. Raises NotFound."""
        found = next((look for look in self.looks if look.n == n), None)
        if found is None:
            raise NotFound("There is no such look.")
        return found

    def after(self, n: int) -> MarkedLook | None:
        """The look that comes after another; None after the last."""
        return next((look for look in self.looks if look.n > n), None)

    def text_of(self, card: RuleCard, name: str) -> str:
        """How a card words one of its elements or exceptions."""
        worded: list[Element | RuleException] = [*card.elements, *card.exceptions, *self.exceptions.values()]
        return next((each.text for each in worded if each.id == name), name)


def result_of(session: Session, sitting_id: str) -> Result:
    """The result of a check, ended or not. Raises NotFound."""
    sitting = load_sitting(session, sitting_id)
    quiz = load_quiz(session, sitting.quiz_id)
    answers, reasons = list_answers(session, sitting_id=sitting_id), list_reasons(session, sitting_id)
    clips = clips_by_id(session, {answer.clip_id for answer in answers})
    cards = list_cards(session)
    looks, number = [], 0
    for answer in sorted(answers, key=lambda each: each.n):
        clip, card = clips[answer.clip_id], _card(cards, answer.topic, answer.received_at.date())
        key = clip.key(answer.topic)
        if key is None or card is None:
            continue  # the clip was never about this topic: nothing is left to say of the look
        is_numbered = answer.counts or answer.verdict in (PRACTICE, *REVIEWED)
        number += is_numbered
        said = reasons.get(answer.n)
        review = _reviewed(session, clip, card, key, answer, quiz.plan.tolerance)
        looks.append(MarkedLook(answer.n, number if is_numbered else None, answer, said, clip, key, card, review))
    exceptions = {each.id: each for each in list_exceptions(session)}
    return Result(quiz, sitting, tuple(looks), exceptions)


def _reviewed(
    session: Session, clip: Clip, card: RuleCard, key: Key, answer: Answer, tolerance: int
) -> Reviewed | None:
    if not answer.found:
        return None
    return reviewed(clip, card, key, Review.model_validate(answer.found), steps_of(session, clip), tolerance)


def _card(cards: list[RuleCard], topic: str, day: date) -> RuleCard | None:
    """The card of that day; for a day that none is known for, the first one there is."""
    return card_on(cards, topic, day) or next((card for card in cards if card.id == topic), None)


def results_of(session: Session, person_id: str) -> list[Result]:
    """Every check that somebody has taken to its end, the newest first; practice is none."""
    ended = [each for each in list_sittings(session, person_id) if each.ended_at is not None]
    found = [result_of(session, each.id) for each in ended if not goes_on(session, each)]
    return [result for result in found if result.quiz.plan.purpose != "practice"]


def tendency_in(results: Iterable[Result]) -> Tendency:
    """What the counted live looks of several checks say together of which way their official leans."""
    looks = (
        look for result in results if result.holds and not result.is_review for look in result.looks if look.counts
    )
    return tendency((look.key.ruling, look.answer.decision) for look in looks)


@dataclass(frozen=True)
class InReview:
    """Review looks of several checks together: right outcomes, and frames found; each of how many."""

    right: int
    looks: int
    found: int
    frames: int


def in_review(results: Iterable[Result]) -> InReview:
    """What the review looks of several checks came to, of those that hold."""
    these = [result for result in results if result.is_review and result.holds]
    found = [result.frames for result in these]
    right, looks = sum(result.right for result in these), sum(result.counted for result in these)
    return InReview(right, looks, sum(each for each, _ in found), sum(of for _, of in found))
