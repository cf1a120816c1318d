"""The ruling that follows from a card and what the picture shows, by Kleene's strong three-valued logic.

    flag     iff every element is present and every exception is absent
    no flag  iff an element is absent or an exception is present
    else     undecided: live the card's `in_doubt`, in review what was called stands

What is not keyed counts as "can't tell". The order in which findings were made never matters.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.rulecard import Presence, ReviewOutcome, RuleCard, Ruling

Findings = Mapping[str, Presence]
"""Element or exception id -> what the picture shows of it."""


@dataclass(frozen=True)
class Reason:
    """A sufficient reason: by itself it decides the ruling. For a flag there is one, `of` is empty: all is there."""

    of: str
    presence: Presence
    is_exception: bool = False


@dataclass(frozen=True)
class Judgement:
    """A ruling with everything that carries it.

    `decided`: the picture decides; otherwise the ruling is the card's *in doubt* and `reasons` is empty.
    `open`: elements and exceptions of which the picture does not tell enough. `left`: a flag that is left live.
    """

    ruling: Ruling
    decided: bool
    reasons: tuple[Reason, ...]
    open: tuple[str, ...]
    left: bool = False


ALL_PRESENT = Reason(of="", presence=Presence.PRESENT)


def judged(card: RuleCard, findings: Findings) -> Ruling | None:
    """What the picture decides by the card; None when it decides nothing."""
    if _against(card, findings):
        return Ruling.NO_FLAG
    return None if _open(card, findings) else Ruling.FLAG


def live(card: RuleCard, findings: Findings, *, leave_it: bool = False) -> Judgement:
    """The ruling on the field. `leave_it`: all is present, and still no flag is wanted (stated with its grounds)."""
    decided = judged(card, findings)
    if decided is Ruling.FLAG and leave_it:
        return Judgement(Ruling.NO_FLAG, True, (ALL_PRESENT,), (), left=True)
    return _judgement(card, findings, decided)


def review(card: RuleCard, findings: Findings, called: Ruling, *, leave_it: bool = False) -> Judgement:
    """The ruling after a video review: undecided leaves what was called; leaving it may not reach into review."""
    decided = judged(card, findings)
    if decided is Ruling.FLAG and leave_it and card.leave_it is not None and card.leave_it.in_review:
        return Judgement(Ruling.NO_FLAG, True, (ALL_PRESENT,), (), left=True)
    if decided is None:
        return Judgement(called, False, (), _open(card, findings))
    return _judgement(card, findings, decided)


def review_outcome(card: RuleCard, findings: Findings, called: Ruling, *, leave_it: bool = False) -> ReviewOutcome:
    """How the review ends for what was called."""
    judgement = review(card, findings, called, leave_it=leave_it)
    if not judgement.decided:
        return "stands"
    if judgement.ruling is called:
        return "confirmed"
    return "flag added" if judgement.ruling is Ruling.FLAG else "flag removed"


def disagreement(card: RuleCard, findings: Findings, keyed: Ruling, *, leave_it: bool = False) -> str | None:
    """One sentence when a keyed live ruling is not what the card gives; None when they agree."""
    judgement = live(card, findings, leave_it=leave_it)
    if judgement.ruling is keyed:
        return None
    given = card.words.of(judgement.ruling)
    return (
        f'The ruling says "{card.words.of(keyed)}", but {_because(judgement)} the card gives "{given}". '
        "One of them is wrong" + (", or say why it is left." if judgement.ruling is Ruling.FLAG else ".")
    )


def quick_findings(card: RuleCard, ruling: Ruling, reason: str | None = None) -> dict[str, Presence]:
    """Findings that a quick key stands for: a flag means that all is present; a no-flag names its one reason.

    Raises ValueError when a no-flag names no element or exception of the card.
    """
    if ruling is Ruling.FLAG:
        present = dict.fromkeys(card.element_ids, Presence.PRESENT)
        return present | dict.fromkeys(card.exception_ids, Presence.ABSENT)
    if reason in card.element_ids:
        return {reason: Presence.ABSENT}
    if reason in card.exception_ids:
        return {reason: Presence.PRESENT}
    raise ValueError(f'"{reason}" is no element or exception of the card "{card.id}"')


def _judgement(card: RuleCard, findings: Findings, decided: Ruling | None) -> Judgement:
    if decided is None:
        return Judgement(card.in_doubt, False, (), _open(card, findings))
    reasons = (ALL_PRESENT,) if decided is Ruling.FLAG else _against(card, findings)
    return Judgement(decided, True, reasons, _open(card, findings))


def _against(card: RuleCard, findings: Findings) -> tuple[Reason, ...]:
    """Every sufficient reason for no flag, in the order of the card."""
    absent = [Reason(name, Presence.ABSENT) for name in card.element_ids if findings.get(name) is Presence.ABSENT]
    lifted = [
        Reason(name, Presence.PRESENT, is_exception=True)
        for name in card.exception_ids
        if findings.get(name) is Presence.PRESENT
    ]
    return (*absent, *lifted)


def _open(card: RuleCard, findings: Findings) -> tuple[str, ...]:
    names = (*card.element_ids, *card.exception_ids)
    return tuple(name for name in names if findings.get(name, Presence.CANT_TELL) is Presence.CANT_TELL)


def _because(judgement: Judgement) -> str:
    if not judgement.decided:
        return "as the picture decides nothing,"
    if judgement.ruling is Ruling.FLAG:
        return "with every element present and no exception"
    first = judgement.reasons[0]
    return f'with "{first.of}" {first.presence}'
