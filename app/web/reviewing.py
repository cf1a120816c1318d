"""What passes between a phone and the server in a review: explicit models, and the slip that opens one look.

As in a live look, nothing here has a place for a key, a ruling that is right or the name of a clip.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from app.actions.reviewing import Question
from app.domain.answer import Cause, sign, verify
from app.domain.reviewing import Target, outcomes
from app.domain.rulecard import ReviewOutcome, RuleCard
from app.web.looking import Milliseconds, Model, Slip, Unexplained, Why

Picture = Annotated[int, Field(ge=0, le=100_000)]


class AngleAhead(Model):
    """One view of a play. `clip`: its address; `starts`: so many frames after the first view's its pictures begin."""

    label: str
    clip: str
    frames: int
    starts: int


class ReviewAhead(Model):
    """A look that is to come, or is open (`begun`). `frames`: of the whole play; `warning`: somebody is hurt in it."""

    n: int
    number: int
    topic: str
    warning: bool
    begun: bool
    frames: int
    angles: list[AngleAhead]


class Reviews(Model):
    """The next look, None where none is left; how many there are in all. `num` / `den`: pictures a second.

    `deadline`: ms to decide; `unexplained`: to be explained first.
    """

    total: int
    deadline: int
    num: int
    den: int
    look: ReviewAhead | None
    unexplained: Unexplained | None


class OpenReview(Model):
    """Opens a look. `stamp`: the last one that came."""

    stamp: Slip = ""


class Outcome(Model):
    """One way to end a review: its id, the word on its target, and what it means."""

    id: ReviewOutcome
    word: str
    means: str


class ReviewOpened(Model):
    """The look is open. `left`: ms there are to decide, negative where they are over; `nonce` None once it is decided.

    `called`: on the field, and `word`: how that is said. `find`: which frame is to be found; empty where none is.
    """

    nonce: str | None
    left: int
    called: Literal["flag", "no flag"]
    word: str
    find: str
    outcomes: list[Outcome]


class ReviewDecision(Model):
    """How the review ended, None where nothing was chosen in time; the picture named; `after`: ms from its opening.

    `angle`: place of its view among those shown; `frame`: counted from the first picture of that view's clip.
    """

    nonce: Slip
    idempotency: str = Field(min_length=1, max_length=80)
    outcome: ReviewOutcome | None
    angle: Picture | None = None
    frame: Picture | None = None
    after: Milliseconds


class ReviewDecided(Model):
    """A decision was kept. `cause`: what kept it from counting. `why` is None where nothing is left to ask."""

    idempotency: str
    counts: bool
    in_time: bool
    cause: Cause
    why: Why | None


# --------------------------------------------------------------------------------- words


def outcome_words(card: RuleCard, outcome: ReviewOutcome) -> str:
    """How a topic says an outcome: `Confirmed`, `Goal removed`."""
    words = {"flag added": f"{card.words.flag} added", "flag removed": f"{card.words.flag} removed"}
    return words.get(outcome, outcome.capitalize())


def _meaning(card: RuleCard, outcome: ReviewOutcome) -> str:
    meanings = {"confirmed": "The picture proves it", "stands": "The picture is not enough"}
    changed = card.words.flag if outcome == "flag added" else card.words.no_flag
    return meanings.get(outcome, f"The picture proves: {changed.lower()}")


def find_words(target: Target | None) -> str:
    """Which frame is to be found, in the words of the card; empty where none is."""
    if target is None:
        return ""
    return f"{target.text[:1].upper()}{target.text[1:]}" if target.text else "The instant that decides it"


def opened(question: Question, nonce: str | None, left: int) -> ReviewOpened:
    """What a phone is told of a look that is open."""
    card, called = question.card, question.called
    return ReviewOpened(
        nonce=nonce,
        left=left,
        called=called.value,
        word=card.words.of(called),
        find=find_words(question.target),
        outcomes=[
            Outcome(id=each, word=outcome_words(card, each), means=_meaning(card, each)) for each in outcomes(called)
        ],
    )


# --------------------------------------------------------------------------------- the slip


@dataclass(frozen=True)
class ReviewTerms:
    """What the timing of one review is judged by, in ms."""

    deadline: int
    rtt: int


def slip_of(secret: str, sitting: str, n: int, terms: ReviewTerms) -> str:
    """A slip that opens one review for one decision. It opens no live look: it is signed with another key."""
    facts = {"s": sitting, "n": n, "d": terms.deadline, "r": terms.rtt, "x": secrets.token_urlsafe(9)}
    return sign(_key(secret), facts)


def terms_in(secret: str, sitting: str, n: int, slip: str) -> ReviewTerms | None:
    """What a slip says of its review; None for one that is not ours, or of another look."""
    told = verify(_key(secret), slip)
    if told is None or (told["s"], told["n"]) != (sitting, n):
        return None
    return ReviewTerms(told["d"], told["r"])


def _key(secret: str) -> bytes:
    return f"reviews:{secret}".encode()
