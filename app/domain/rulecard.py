"""The rule card: what must be seen for a flag, what takes it away, what is argued but changes nothing.

A card holds elements (all needed), exceptions (any one lifts the offence), non-factors, guidance on leaving it,
what to do in doubt, and the fixed order of checks of a video review. `app.domain.ruling` draws the ruling
from a card and what the picture shows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from enum import StrEnum
from typing import Literal

from pydantic import Field, model_validator

from app.domain.base import Id, Value, Words


class Ruling(StrEnum):
    """The decision in general words; each card has its own for the page (flag / no flag, goal / no goal ...)."""

    FLAG = "flag"
    NO_FLAG = "no flag"


class Presence(StrEnum):
    """What a picture shows of one element or exception."""

    PRESENT = "present"
    ABSENT = "absent"
    CANT_TELL = "can't tell"


class When(StrEnum):
    """The instant at which an element must hold."""

    DECISIVE = "at the decisive moment"
    BEFORE = "any time before"
    THROUGHOUT = "throughout"
    WITH = "at the instant of another element"
    NAMED = "at a named instant"


class NamedInstant(Value):
    """An instant that the rule itself names, such as a team-mate's first contact; clips mark it by its id."""

    id: Id
    text: Words


class Element(Value):
    """One thing that must be present for a flag.

    `instant_of` names the other element when `when` is `WITH`; `instant` names one of the card's instants when it is
    `NAMED`.
    """

    id: Id
    text: Words
    when: When = When.DECISIVE
    instant_of: Id | None = None
    instant: Id | None = None
    counts: tuple[Words, ...] = ()
    does_not_count: tuple[Words, ...] = ()

    @model_validator(mode="after")
    def _instant_named(self) -> Element:
        if (self.when is When.WITH) != (self.instant_of is not None):
            raise ValueError(f'"instant_of" goes with when = "{When.WITH}", and only with it')
        if (self.when is When.NAMED) != (self.instant is not None):
            raise ValueError(f'"instant" goes with when = "{When.NAMED}", and only with it')
        return self


class RuleException(Value):
    """Something that takes the offence away. A shared one is written once and named by several cards."""

    id: Id
    text: Words
    counts: tuple[Words, ...] = ()
    does_not_count: tuple[Words, ...] = ()


class NonFactor(Value):
    """Argued on the touchline, but it changes nothing: a good distractor, a teaching point when it is chosen."""

    id: Id
    text: Words


class LeaveIt(Value):
    """When all is present and still no flag is shown live. `in_review`: whether a review may leave it too."""

    guidance: Words
    examples: tuple[Words, ...] = ()
    in_review: bool = False


class ReviewStep(Value):
    """One check of a video review: which element or exception, what to lay on the picture, what proves it."""

    of: Id
    draw: str = ""
    proof: Words


class Variant(Value):
    """A rarer shape of the same offence, counted in coverage."""

    id: Id
    text: Words


class DecisionWords(Value):
    """The two words of this topic, as its officials say them."""

    flag: Words = "Flag"
    no_flag: Words = "No flag"

    def of(self, ruling: Ruling) -> str:
        """The word on the page for a ruling."""
        return self.flag if ruling is Ruling.FLAG else self.no_flag


class SecondAnswer(Value):
    """What is asked besides the decision (direction, restart), and the answers to choose from."""

    question: Words
    answers: tuple[Words, ...] = Field(min_length=2)


class RuleCard(Value):
    """One topic by the rule. `in_doubt` is the live ruling when the picture decides nothing.

    `effective_from`/`effective_until` (until is the first day on which it holds no longer) date a card: a rule change
    makes a new card of the same id and leaves the past alone.
    """

    id: Id
    title: Words
    offence: Words
    source: Words
    instants: tuple[NamedInstant, ...] = ()
    elements: tuple[Element, ...] = Field(min_length=1)
    exceptions: tuple[RuleException, ...] = ()
    shared_exceptions: tuple[Id, ...] = ()
    non_factors: tuple[NonFactor, ...] = ()
    leave_it: LeaveIt | None = None
    in_doubt: Ruling = Ruling.NO_FLAG
    in_doubt_text: Words = "In doubt, no signal."
    review_steps: tuple[ReviewStep, ...] = ()
    variants: tuple[Variant, ...] = ()
    words: DecisionWords = DecisionWords()
    second_answer: SecondAnswer | None = None
    sound_cue: bool = False
    safety: bool = False
    effective_from: date | None = None
    effective_until: date | None = None

    @model_validator(mode="after")
    def _ids_agree(self) -> RuleCard:
        _no_twins([*self.element_ids, *self.exception_ids, *(factor.id for factor in self.non_factors)])
        _no_twins([variant.id for variant in self.variants])
        _no_twins([instant.id for instant in self.instants])
        for element in self.elements:
            if element.instant_of is not None and element.instant_of not in set(self.element_ids) - {element.id}:
                raise ValueError(f'element "{element.id}": instant_of "{element.instant_of}" is no other element here')
            if element.instant is not None and element.instant not in {instant.id for instant in self.instants}:
                raise ValueError(f'element "{element.id}": this card names no instant "{element.instant}"')
        for step in self.review_steps:
            if step.of not in {*self.element_ids, *self.exception_ids}:
                raise ValueError(f'review step of "{step.of}": this card has no such element or exception')
        if self.effective_from and self.effective_until and self.effective_until <= self.effective_from:
            raise ValueError("effective_until must come after effective_from")
        return self

    @property
    def element_ids(self) -> tuple[str, ...]:
        """Ids of the elements, in the order of the card."""
        return tuple(element.id for element in self.elements)

    @property
    def exception_ids(self) -> tuple[str, ...]:
        """Ids of the card's own and shared exceptions, in the order of the card."""
        return (*(exception.id for exception in self.exceptions), *self.shared_exceptions)

    def holds_on(self, day: date) -> bool:
        """Whether the card is in force on that day."""
        return (self.effective_from is None or self.effective_from <= day) and (
            self.effective_until is None or day < self.effective_until
        )


def card_on(cards: Iterable[RuleCard], topic: str, day: date) -> RuleCard | None:
    """The card of a topic in force on a day; None when there is none."""
    return next((card for card in cards if card.id == topic and card.holds_on(day)), None)


def overlapping(cards: Iterable[RuleCard]) -> Iterator[tuple[RuleCard, RuleCard]]:
    """Pairs of cards of one topic that would both be in force on some day."""
    known: list[RuleCard] = []
    for card in cards:
        yield from ((other, card) for other in known if other.id == card.id and _share_a_day(other, card))
        known.append(card)


def _share_a_day(one: RuleCard, two: RuleCard) -> bool:
    first = max(one.effective_from or date.min, two.effective_from or date.min)
    end = min(one.effective_until or date.max, two.effective_until or date.max)
    return first < end


def _no_twins(ids: list[str]) -> None:
    for name in ids:
        if ids.count(name) > 1:
            raise ValueError(f'the id "{name}" is used twice on this card')


ReviewOutcome = Literal["confirmed", "stands", "flag added", "flag removed"]
"""How a review ends: the call was right; nothing proves it wrong; a flag is thrown; a flag is picked up."""
