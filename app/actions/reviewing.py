"""Taking a review: it is opened once, looked at as often as wanted while its clock runs, and decided once.

The clock is the server's and runs from the opening, whatever the page does: hidden or loaded anew it goes on, and there
is more to see as long as there is time. So a page out of sight is no fault here, and makes nothing void.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from app.actions.sitting import RTT_MOST, open_look, replace_look
from app.domain.answer import Cause, Timing, TimingPolicy, judge
from app.domain.clip import Clip, Key
from app.domain.errors import Conflict, NotFound
from app.domain.recording import Recording
from app.domain.reviewing import Review, Target, call_of, known_call, outcomes, ruling_after, target_of
from app.domain.rulecard import ReviewOutcome, RuleCard, Ruling
from app.domain.timecode import Span
from app.store.content import cards_on, clips_by_id
from app.store.looks import LookRow, add_answer, answer_row, look_row
from app.store.quizzes import AngleCut
from app.store.recordings import recordings_by_id
from app.store.reviews import find_opening, keep_called
from app.store.sittings import REVIEWED, Sitting, list_looks, load_sitting


@dataclass(frozen=True)
class Question:
    """What a review look asks. `called`: on the field; `target`: the frame to be found, None where none is asked."""

    card: RuleCard
    called: Ruling
    angles: tuple[AngleCut, ...]
    target: Target | None


@dataclass(frozen=True)
class Said:
    """What a phone reports of one review. `after`: ms from its opening to the decision by the phone's steady clock.

    `outcome`: None where nothing was chosen when the time was up. `angle`, `frame`: the picture that was named, counted
    from the first of that view's clip. `rtt`: the shortest round trip that the server has measured, in ms.
    """

    nonce: str
    outcome: ReviewOutcome | None
    angle: int | None
    frame: int | None
    after: int
    rtt: int
    idempotency: str


def question_of(session: Session, sitting: Sitting, n: int, day: date) -> Question:
    """What a look asks, by the clip and the card of that day; once it is open the call stays. Raises NotFound."""
    looks = list_looks(session, sitting.id)
    if n >= len(looks):
        raise NotFound("There is no such look.")
    called, angles = find_opening(session, sitting.id, n)
    clips = clips_by_id(session, {look.clip_id for look in looks})
    clip, card = clips[looks[n].clip_id], cards_on(session, day).get(looks[n].topic)
    key = clip.key(looks[n].topic)
    if card is None or key is None:
        raise NotFound("This topic has no rule card today.")
    known = [_known(clips[look.clip_id], look.topic) for look in looks]
    drawn = call_of([look.side for look in looks], known, n, sitting.seed)
    return Question(card, called or drawn, angles, _target(session, clip, card, key, angles))


def _known(clip: Clip, topic: str) -> Ruling | None:
    key = clip.key(topic)
    return None if key is None else known_call(clip, key)


def _target(session: Session, clip: Clip, card: RuleCard, key: Key, angles: tuple[AngleCut, ...]) -> Target | None:
    if not angles:
        return None
    shown = Span(first=angles[0].first, end=angles[0].first + angles[0].shown)
    return target_of(clip, card, key, shown, steps_of(session, clip))


def steps_of(session: Session, clip: Clip) -> Mapping[str, Recording]:
    """The recordings of a clip, by which its views are in step."""
    found = recordings_by_id(session, {view.recording for view in clip.views})
    return {name: each.recording for name, each in found.items()}


def open_review(
    session: Session, sitting_id: str, n: int, person_id: str, nonce: str, *, now: datetime
) -> dict[str, Any]:
    """Open a look: its clock runs from now, once, and what was called on the field is kept.

    One that is open already goes on with what is left of its time. Raises NotFound for somebody else's.
    """
    sitting = load_sitting(session, sitting_id)
    reply = open_look(session.connection(), sitting_id, n, person_id, nonce, now=now)
    keep_called(session, sitting_id, n, question_of(session, sitting, n, now.date()).called)
    return reply


def submit_review(
    session: Session, sitting_id: str, n: int, person_id: str, said: Said, policy: TimingPolicy, *, now: datetime
) -> dict[str, Any]:
    """Keep how a review was decided, once. The same key again has the same reply.

    One that nobody could time does not count, and another clip comes for it. Raises NotFound for somebody else's look,
    Conflict when it was not opened, was decided under another key, or cannot end so.
    """
    connection = session.connection()
    row = look_row(connection, sitting_id, n, person_id)
    kept = answer_row(connection, sitting_id, n)
    if kept is not None:
        if kept.idempotency != said.idempotency:
            raise Conflict("This look has been decided already.")
        return _reply(row, kept.verdict, kept.decision)
    if row.state != "served" or row.nonce != said.nonce:
        raise Conflict("This look has not been opened.")
    question = question_of(session, load_sitting(session, sitting_id), n, now.date())
    verdict = _verdict(row, said, policy, now)
    values = _values(sitting_id, n, row, said, question, verdict, now)
    add_answer(connection, values, "decided" if verdict in REVIEWED else "void")
    if verdict not in REVIEWED:
        replace_look(connection, sitting_id, row)
    return _reply(row, verdict, values["decision"])


def _verdict(row: LookRow, said: Said, policy: TimingPolicy, now: datetime) -> str:
    """What the timing is worth: as that of a live look, but nothing has to be played and all time is time to decide."""
    received = round((now - row.served_at).total_seconds() * 1000)
    timing = judge(policy, 0, received, min(said.rtt, RTT_MOST), 0, 0, 0, said.after).verdict
    if not timing.counts:
        return timing.value
    in_time, late = REVIEWED
    return in_time if timing is Timing.OK and said.outcome is not None else late


def _values(
    sitting_id: str, n: int, row: LookRow, said: Said, question: Question, verdict: str, now: datetime
) -> dict[str, Any]:
    found = _review(said, question)
    is_late = verdict == REVIEWED[1]
    ruling = None if is_late or found.outcome is None else ruling_after(found.outcome, found.called).value
    return {
        "sitting_id": sitting_id,
        "n": n,
        "person_id": row.person_id,
        "clip_id": row.clip_id,
        "topic": row.topic,
        "decision": ruling,
        "verdict": verdict,
        "claimed": {"after": said.after, "rtt": said.rtt, "cause": _cause(verdict)},
        "found": found.model_dump(mode="json"),
        "idempotency": said.idempotency,
        "received_at": now,
    }


def _review(said: Said, question: Question) -> Review:
    """What was said, in the terms of the recordings. Raises Conflict for an outcome or a picture that is not there."""
    if said.outcome is not None and said.outcome not in outcomes(question.called):
        raise Conflict("This review cannot end so.")
    found = Review(called=question.called, outcome=said.outcome)
    if question.target is None:
        return found
    found = found.model_copy(update={"instant": question.target.instant})
    if said.angle is None or said.frame is None:
        return found
    if not 0 <= said.angle < len(question.angles):
        raise Conflict("This picture was not shown.")
    angle = question.angles[said.angle]
    frame = angle.first + max(0, min(said.frame, angle.shown - 1))  # the last picture is held to the end
    return found.model_copy(update={"recording": angle.recording, "frame": frame})


def _cause(verdict: str) -> Cause:
    return "" if verdict in REVIEWED else "network"


def _reply(row: LookRow, verdict: str, decision: str | None) -> dict[str, Any]:
    return {
        "counts": verdict in REVIEWED,
        "in_time": verdict == REVIEWED[0],
        "cause": _cause(verdict),
        "asks_all": bool(row.asks_all),
        "topic": row.topic,
        "decision": decision,
    }
