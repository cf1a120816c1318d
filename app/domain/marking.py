"""What an answer is worth by the clip's key and the rule card: the decision, the reason for it, the second answer.

Marks are never stored. They follow from the key as it is now, so that a corrected key marks every answer anew.
"""

from __future__ import annotations

from collections.abc import Mapping

from app.domain.clip import Finding, Key
from app.domain.rulecard import Presence, RuleCard, Ruling
from app.domain.ruling import judged, live

Said = Mapping[str, Presence]
"""What somebody said of elements and exceptions. One tap names one of them, or ALL: everything was there (present),
or nothing could be seen (can't tell)."""

ALL = ""


def right_decision(key: Key, decision: Ruling | None) -> bool:
    """Whether the decision is that of the key; no decision in time never is."""
    return decision is key.ruling


def contradicted(key: Key, said: Said) -> tuple[str, ...]:
    """Elements and exceptions of which the picture shows the opposite of what was said, in the order said.

    "Could not see" is never wrong, and what the picture does not tell contradicts nobody.
    """
    known = {Presence.PRESENT, Presence.ABSENT}
    shown = key.shown
    return tuple(name for name, what in said.items() if {what, shown.get(name)} == known)


def right_reason(card: RuleCard, key: Key, said: Said, *, is_whole: bool) -> bool:
    """Whether the reason holds, whatever the decision was.

    Asked about every element (`is_whole`), nothing said may be contradicted. Asked for the one that decides it, any
    sufficient reason that the picture shows is right.
    """
    if is_whole:
        return not contradicted(key, said)
    return all(_tap_holds(card, key, name, what) for name, what in said.items())


def _tap_holds(card: RuleCard, key: Key, name: str, what: Presence) -> bool:
    if what is Presence.CANT_TELL:
        return True
    if name == ALL:
        return judged(card, key.shown) is Ruling.FLAG
    decides = Presence.PRESENT if name in card.exception_ids else Presence.ABSENT
    return what is decides and key.shown.get(name) is decides


def right_second(key: Key, second: str | None) -> bool | None:
    """Whether the second answer (direction, restart) is that of the key; None where there is nothing to compare."""
    return None if second is None or key.second_answer is None else second == key.second_answer


def deciding(card: RuleCard, key: Key, said: Said) -> str:
    """The element or exception that explains the key best to whoever said this.

    Among those that decide the ruling: the first that was said wrongly, else the first that carries a no-flag, else
    the last that completes a flag. Where the picture decides nothing, the first that it leaves open.
    """
    judgement = live(card, key.shown, leave_it=bool(key.leave_it))
    against = [reason.of for reason in judgement.reasons if reason.of != ALL]
    pool = against if judgement.decided else list(judgement.open)
    all_there = judgement.decided and not against
    pool = pool or list(card.element_ids)
    wrong = set(contradicted(key, said))
    missed = [name for name in (*pool, *card.exception_ids) if name in wrong]
    return missed[0] if missed else pool[-1] if all_there else pool[0]


def finding_of(key: Key, name: str) -> Finding | None:
    """What the picture shows of an element or exception; None where the key says nothing of it."""
    return next((finding for finding in key.findings if finding.of == name), None)
