"""What follows from the evidence: the verdict on one stream and on two, and what to tell of them.

Both streams must pass, so that the chance of passing with p0 on either side is that of one stream, however good the
other. Order matters: answers are replayed in the order in which they were asked, and what comes after a decision is
filler that changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from app.measure.arguments import whole
from app.measure.sequential.difficulty import ItemPar
from app.measure.sequential.exact import cut_at_end
from app.measure.sequential.policy import HAIR, Policy, StreamState, step

Verdict = Literal["GO", "PASS", "FAIL", "UNDECIDED"]


@dataclass(frozen=True)
class Outlook:
    """What to tell of a stream: counts, and how many in a row would decide it (None: none can any more)."""

    right: int
    n: int
    rights_to_pass: int | None
    wrongs_to_fail: int | None


def replay(
    answers: Iterable[bool],
    policy: Policy,
    items: Iterable[ItemPar | None] | None = None,
    start: StreamState | None = None,
) -> StreamState:
    """The state of a stream after these answers, in the order asked; once decided it stays as it was.

    `items`: one per answer (ValueError otherwise); without them all are alike. `start`: evidence of earlier sittings.

    >>> state = replay([True] * 10, Policy())
    >>> state.n, state.right, round(state.llr, 4)
    (8, 8, 3.2437)
    """
    state = start or StreamState()
    given = list(answers)
    for correct, item in zip(given, [None] * len(given) if items is None else items, strict=True):
        if verdict(state, policy, unseen_left=1) == "GO":
            llr = step(state.llr, correct, policy.p0, policy.p1, item)
            state = StreamState(state.n + 1, state.right + bool(correct), llr)
    return state


def verdict(stream: StreamState, policy: Policy, unseen_left: int) -> Verdict:
    """PASS, FAIL, GO on, or UNDECIDED because the answers have run out between the bounds.

    They run out at n_max or with no unseen item left. Then the stream passes if its evidence is not below nought and
    more than that of the greatest count which `k_last_for_bank` refuses. Running out is never a FAIL.

    >>> verdict(StreamState(8, 8, 3.24), Policy(), 22), verdict(StreamState(30, 23, -.38), Policy(), 4)
    ('PASS', 'UNDECIDED')
    """
    if stream.llr >= policy.B - HAIR:
        return "PASS"
    if stream.llr <= policy.A + HAIR and stream.n >= policy.n_min_fail:
        return "FAIL"
    if whole("unseen_left", unseen_left) and stream.n < policy.n_max:
        return "GO"
    return "PASS" if _enough_at_end(stream, policy) else "UNDECIDED"


def _enough_at_end(stream: StreamState, policy: Policy) -> bool:
    if stream.n == 0:
        return False
    refused = cut_at_end(policy, stream.n) - 1
    if refused == stream.n:
        return False
    return stream.llr > max(policy.evidence(stream.n, refused) + HAIR, -HAIR)


def verdict_of_two(first: StreamState, second: StreamState, policy: Policy, unseen_left: tuple[int, int]) -> Verdict:
    """FAIL if either stream fails, PASS if both pass; GO while either may still be decided, else UNDECIDED.

    >>> verdict_of_two(StreamState(8, 8, 3.24), StreamState(6, 3, -2.94), Policy(), (22, 24))
    'FAIL'
    """
    both = {verdict(stream, policy, left) for stream, left in zip((first, second), unseen_left, strict=True)}
    for one in ("FAIL", "GO", "UNDECIDED"):
        if one in both:
            return one
    return "PASS"


def outlook(stream: StreamState, policy: Policy, unseen_left: int) -> Outlook:
    """The counts of a stream and the shortest runs of alike answers that would decide it, as long as items are left.

    >>> outlook(replay([True] * 7, Policy()), Policy(), 10)
    Outlook(right=7, n=7, rights_to_pass=1, wrongs_to_fail=4)
    """
    return Outlook(
        stream.right,
        stream.n,
        _run_until("PASS", True, stream, policy, unseen_left),
        _run_until("FAIL", False, stream, policy, unseen_left),
    )


def _run_until(wanted: Verdict, correct: bool, stream: StreamState, policy: Policy, unseen_left: int) -> int | None:
    state, run = stream, 0
    while (now := verdict(state, policy, unseen_left - run)) == "GO":
        state = StreamState(state.n + 1, state.right + correct, step(state.llr, correct, policy.p0, policy.p1))
        run += 1
    return run if now == wanted else None
