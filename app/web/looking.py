"""What passes between a phone and the server while a check is taken: explicit models, and two signed slips.

The *stamp* goes to and fro to measure the round trip by the server's own clock. The *nonce* opens one look for one
decision and holds what its timing is judged by, so that an answer needs nothing looked up. Neither tells anything of
the play, and no model here has a place for a key, a ruling or the name of a clip.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from app.domain.answer import Cause, sign, verify
from app.domain.marking import ALL
from app.domain.rulecard import Element, Presence, RuleCard, RuleException, Ruling, When
from app.web.forms import Mistakes

RTT_MOST = 500
"""Milliseconds: what takes longer was held back."""
NON_FACTORS = 2
"""How many things that change nothing stand among the reasons to choose from."""

Slip = Annotated[str, Field(max_length=600)]
Milliseconds = Annotated[int, Field(ge=-3_600_000, le=3_600_000)]


class Model(BaseModel):
    """Base of what comes in and goes out: nothing but the fields that are named."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class LookAhead(Model):
    """A look that is to come. `clip`: its address, empty once it was opened; `ms`, `frames`: its length.

    `warning`: it shows somebody being hurt.
    """

    n: int
    number: int
    clip: str
    ms: int
    frames: int
    topic: str
    flag: str
    no_flag: str
    warning: bool


class Point(Model):
    """One thing to judge: an element with its number, an exception, or something that changes nothing."""

    id: str
    kind: Literal["element", "exception", "non-factor"]
    number: int | None
    text: str
    when: str
    counts: str
    does_not_count: str


class Second(Model):
    """What else is asked."""

    question: str
    answers: list[str]


class Why(Model):
    """What is asked after a decision. `whole`: of every point, else which of them decides it."""

    whole: bool
    points: list[Point]
    second: Second | None


class Unexplained(Model):
    """A look that was called in time and not explained: `decision` as one's own thumb gave it, `word` as it is said."""

    n: int
    decision: Literal["flag", "no flag"]
    word: str
    why: Why


class Ahead(Model):
    """The next looks, and how many there are in all: 0 where that depends on the answers.

    `deadline`: ms to decide; `unexplained`: to be explained first.
    """

    total: int
    deadline: int
    looks: list[LookAhead]
    unexplained: Unexplained | None


class Echo(Model):
    """The slip that goes to and fro; empty the first time."""

    stamp: Slip = ""


class Open(Model):
    """Opens a look. `stamp`: the last one that came. `press`: a random word, the same while no reply has come.

    `times`: how often it was tried with this word, so that a try which comes late does not undo a later one.
    """

    stamp: Slip = ""
    press: str = Field(default="", max_length=80)
    times: int = Field(default=0, ge=0, le=1000)


class Opened(Model):
    """Whether the look was opened now. `left`: ms there are to decide; where it was opened before, that are left."""

    opened: bool
    nonce: str | None
    left: int


class Decision(Model):
    """A decision with the phone's durations in ms. `reopened`: the page was loaded anew, so it knows none.

    `unopened`: the network was away and the phone showed the clip by itself; there is no slip then.
    """

    nonce: Slip
    idempotency: str = Field(min_length=1, max_length=80)
    decision: Literal["flag", "no flag"] | None
    load: Milliseconds
    play: Milliseconds
    decide: Milliseconds
    hidden: bool
    dropped: float = Field(ge=0, le=1)
    reopened: bool = False
    unopened: bool = False

    @property
    def ruling(self) -> Ruling | None:
        """The decision as a ruling."""
        return None if self.decision is None else Ruling(self.decision)


class Decided(Model):
    """A decision was kept. `cause`: what kept it from counting. `why` is None where nothing is left to ask."""

    idempotency: str
    counts: bool
    in_time: bool
    cause: Cause
    why: Why | None


class Reason(Model):
    """Why: what was seen of each point; after one tap a single one, "" for all of them together."""

    shows: dict[Annotated[str, Field(max_length=80)], Presence] = Field(max_length=40)
    second: str | None = Field(default=None, max_length=200)
    idempotency: str = Field(default="", max_length=80)


class Skip(Model):
    """Leaves out a clip that was announced as hard to look at."""

    idempotency: str = Field(default="", max_length=80)


class Kept(Model):
    """It was kept. `idempotency`: of what was sent, by which a phone knows that this is about it."""

    kept: bool = True
    idempotency: str


class Finished(Model):
    """The check has ended. `result`: where to go."""

    result: str


# --------------------------------------------------------------------------------- the question


def why_of(card: RuleCard, exceptions: Mapping[str, RuleException], *, whole: bool, called: Ruling) -> Why:
    """What is asked after a decision: the same points whatever was called and whatever is right.

    A second answer goes with a flag only: there is no restart when play goes on.
    """
    points = [*_elements(card), *_exceptions(card, exceptions)]
    if not whole:
        points += [_point(factor.id, "non-factor", factor.text) for factor in card.non_factors[:NON_FACTORS]]
    second = card.second_answer if called is Ruling.FLAG else None
    return Why(
        whole=whole,
        points=points,
        second=None if second is None else Second(question=second.question, answers=list(second.answers)),
    )


def _elements(card: RuleCard) -> Iterator[Point]:
    for number, each in enumerate(card.elements, 1):
        hints = (each.counts[:1], each.does_not_count[:1])
        yield _point(each.id, "element", each.text, number, _when(card, each), *map("".join, hints))


def _exceptions(card: RuleCard, shared: Mapping[str, RuleException]) -> Iterator[Point]:
    for each in (*card.exceptions, *(shared[name] for name in card.shared_exceptions if name in shared)):
        hints = (each.counts[:1], each.does_not_count[:1])
        yield _point(each.id, "exception", each.text, None, "", *map("".join, hints))


def _point(
    name: str,
    kind: Literal["element", "exception", "non-factor"],
    text: str,
    number: int | None = None,
    when: str = "",
    counts: str = "",
    does_not: str = "",
) -> Point:
    return Point(id=name, kind=kind, number=number, text=text, when=when, counts=counts, does_not_count=does_not)


def _when(card: RuleCard, element: Element) -> str:
    """The instant at which an element must hold, in the card's own words where it names one."""
    if element.when is When.NAMED:
        text = next(each.text for each in card.instants if each.id == element.instant)
        return f"At {text[:1].lower()}{text[1:]}"
    if element.when is When.WITH:
        other = next(each.text for each in card.elements if each.id == element.instant_of)
        return f"At the instant of: {other}"
    return str(element.when).capitalize()


def refuse_unasked(card: RuleCard, whole: bool, body: Reason) -> None:
    """Raises Mistakes for a reason that names points nobody was asked about."""
    points = {*card.element_ids, *card.exception_ids}
    if whole:
        known = set(body.shows) <= points
    else:
        factors = {each.id for each in card.non_factors}
        known = len(body.shows) == 1 and set(body.shows) <= points | factors | {ALL}
        known = known and (ALL in body.shows or Presence.CANT_TELL not in body.shows.values())
    if body.second is not None:
        known = known and card.second_answer is not None and body.second in card.second_answer.answers
    if not known:
        raise Mistakes({}, {"shows": "This was not asked."})


# --------------------------------------------------------------------------------- the slips


@dataclass(frozen=True)
class Terms:
    """What the timing of one decision is judged by, in ms."""

    clip: int
    deadline: int
    rtt: int


def stamp_of(secret: str, sitting: str, person: str, at: datetime, best: int | None) -> str:
    """A slip that holds when it was sent and the shortest round trip so far, in ms."""
    return sign(_key(secret), {"k": "stamp", "s": sitting, "p": person, "t": _ms(at), "r": best})


def round_trip(secret: str, sitting: str, person: str, stamp: str, at: datetime) -> int | None:
    """The shortest round trip so far, this one included; None for a slip that is not ours."""
    told = _told(secret, "stamp", stamp)
    if told is None or (told["s"], told["p"]) != (sitting, person):
        return None
    this = max(0, _ms(at) - int(told["t"]))
    return min(RTT_MOST, this if told["r"] is None else min(this, int(told["r"])))


def measured(secret: str, sitting: str, person: str, stamp: str) -> int:
    """The shortest round trip that a slip holds; nothing is granted without one."""
    told = _told(secret, "stamp", stamp)
    own = told is not None and (told["s"], told["p"]) == (sitting, person)
    return int(told["r"] or 0) if told is not None and own else 0


def nonce_of(secret: str, sitting: str, n: int, terms: Terms, press: str = "", times: int = 0) -> str:
    """A slip that opens one look for one decision. It remembers which press of the button asked for it."""
    facts = {
        "k": "look",
        "s": sitting,
        "n": n,
        "c": terms.clip,
        "d": terms.deadline,
        "r": terms.rtt,
        "o": press,
        "i": times,
    }
    return sign(_key(secret), facts | {"x": secrets.token_urlsafe(9)})


def terms_of(secret: str, sitting: str, n: int, nonce: str) -> Terms | None:
    """What a slip says of its look; None for one that is not ours, or of another look."""
    told = _told(secret, "look", nonce)
    if told is None or (told["s"], told["n"]) != (sitting, n):
        return None
    return Terms(told["c"], told["d"], told["r"])


def is_lost(secret: str, nonce: str | None, again: Open) -> bool:
    """Whether a slip was made for an earlier try of this very press, whose reply then never came."""
    told = _told(secret, "look", nonce or "")
    return told is not None and again.press != "" and told.get("o") == again.press and told["i"] < again.times


def _told(secret: str, kind: str, slip: str) -> dict[str, Any] | None:
    told = verify(_key(secret), slip)
    return told if told is not None and told.get("k") == kind else None


def _key(secret: str) -> bytes:
    return f"looks:{secret}".encode()


def _ms(at: datetime) -> int:
    return round(at.timestamp() * 1000)
