"""Publishing a quiz, cutting its clips for phones, and giving people things to do."""

from __future__ import annotations

import secrets
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session

from app.actions.job import Work, order_job
from app.actions.recording import await_prepared
from app.adapters.files import digest_of
from app.adapters.phone import phone_cut
from app.adapters.still import still
from app.domain.clip import Clip, Key
from app.domain.errors import BadInput, NotFound
from app.domain.guard import cut_of, refusal_of
from app.domain.quiz import Candidate, Drawn, QuizPlan, drawn
from app.domain.recording import Prepared
from app.domain.rulecard import Ruling
from app.domain.timecode import Rate
from app.store.content import clips_by_id, list_clips, load_lesson
from app.store.league import audit
from app.store.people import list_seats
from app.store.quizzes import Kind, Quiz, QuizItem, add_quiz, assign, list_items, load_quiz, set_cut
from app.store.recordings import RecordingState, prepared_of, recordings_by_id
from app.store.sittings import list_looked_at


@dataclass(frozen=True)
class Stock:
    """Clips that a plan may draw from, by side, and why that is not enough ("": it is)."""

    flags: int
    no_flags: int
    shortage: str


def candidates_of(clips: Iterable[Clip], plan: QuizPlan, rate: Rate, seen: Collection[str]) -> list[Candidate]:
    """Clips that the plan may ask about: keyed for its topics, showing enough before they give themselves away.

    `seen`: ids of clips that somebody asked has looked at lately; they are left out.
    """
    return [
        Candidate(key.topic, key.ruling, clip.id)
        for clip in clips
        for key in clip.keys
        if key.topic in plan.topics and clip.id not in seen and refusal_of(clip, key, rate) is None
    ]


def candidates_now(
    session: Session, plan: QuizPlan, rate: Rate, people: Iterable[str], now: datetime
) -> list[Candidate]:
    """Clips for a plan as things stand, when these people are asked."""
    clips = list_clips(session)
    facts = recordings_by_id(session, {clip.views[0].recording for clip in clips})
    shown = {name for name, each in facts.items() if each.state is not RecordingState.REFUSED}
    seen = list_looked_at(session, people, now - timedelta(days=plan.unseen_days))
    return candidates_of((clip for clip in clips if clip.views[0].recording in shown), plan, rate, seen)


def stock_of(session: Session, plan: QuizPlan, rate: Rate, now: datetime) -> Stock:
    """What there is for a plan and its crews, and what is missing, in words."""
    found = candidates_now(session, plan, rate, people_of(session, plan.crews, now), now)
    flags = len({each.clip for each in found if each.side is Ruling.FLAG})
    no_flags = len({each.clip for each in found if each.side is Ruling.NO_FLAG})
    try:
        refuse_review(plan)
        drawn(plan, found, seed=0)
    except BadInput as error:
        return Stock(flags, no_flags, str(error))
    return Stock(flags, no_flags, "")


def refuse_review(plan: QuizPlan) -> None:
    """Raises BadInput for a plan of review looks: the check on the phone asks one look at full speed."""
    if plan.look == "review":
        raise BadInput("Review looks, with angles and slow motion, cannot be taken on phones yet.")


def people_of(session: Session, crews: Iterable[str], now: datetime) -> list[str]:
    """Ids of who sits in these crews today."""
    return [seat.person.id for crew in crews for seat in list_seats(session, now.date(), crew)]


def publish_quiz(
    session: Session, plan: QuizPlan, rate: Rate, seed: int, due_at: datetime | None, by: str, *, now: datetime
) -> Quiz:
    """Draw the clips of a plan, order their phone cuts, and assign the quiz to the plan's crews.

    Raises BadInput when there are not enough clips, or for a plan of review looks; then nothing is published.
    """
    refuse_review(plan)
    people = people_of(session, plan.crews, now)
    chosen = drawn(plan, candidates_now(session, plan, rate, people, now), seed)
    quiz = Quiz(secrets.token_urlsafe(8), plan.title, plan, due_at, by, now)
    add_quiz(session, quiz, items_of(chosen))
    assign(session, "quiz", quiz.id, people, due_at, now)
    order_job(session, "cuts", cuts_key(quiz.id), {"quiz": quiz.id}, f"Clips for {quiz.title}", by, now=now)
    audit(session, now, by, "publish", "quiz", quiz.id, title=quiz.title, clips=len(chosen.asked), people=len(people))
    return quiz


def cuts_key(quiz_id: str) -> str:
    """The key of the job that cuts a quiz's clips."""
    return f"cuts:{quiz_id}"


def items_of(chosen: Drawn) -> list[QuizItem]:
    """The items of a quiz: those asked first, spares after them."""
    asked = [QuizItem(n, each.clip, each.topic, each.side) for n, each in enumerate(chosen.asked)]
    first = len(asked)
    return asked + [QuizItem(first + n, each.clip, each.topic, each.side, True) for n, each in enumerate(chosen.spares)]


def make_cuts(work: Work) -> None:
    """The job `cuts`: cut every clip of a quiz for phones, then make the pictures that its results will show.

    Raises Waits while recordings are still to be prepared; what could be cut is kept.
    """
    quiz_id = str(work.args["quiz"])
    with work.database.read() as session:
        items = list_items(session, quiz_id)
        clips = clips_by_id(session, [item.clip_id for item in items])
        prepared = prepared_of(session, [view.recording for clip in clips.values() for view in clip.views])
    ready = [item for item in items if clips[item.clip_id].views[0].recording in prepared]
    for done, item in enumerate(ready):
        work.tell(f"Clip {done + 1} of {len(items)}", done / len(items))
        if item.cut is None:
            _make_cut(work, quiz_id, item, clips[item.clip_id], prepared)
    with work.database.read() as session:
        await_prepared(session, [clips[item.clip_id].views[0].recording for item in items if item not in ready])
    work.tell("Pictures for the results", 0.99)
    for recording, frame in sorted(set(_proofs(items, clips))):
        if (source := prepared.get(recording)) is not None and frame < source.frames:
            still(source.digest, frame, source.house, work.library)


def _make_cut(work: Work, quiz_id: str, item: QuizItem, clip: Clip, prepared: dict[str, Prepared]) -> None:
    source = prepared[clip.views[0].recording]
    cut = cut_of(clip, _key(clip, item.topic), source.house.rate, tail_seed(clip.id, item.topic))
    digest = phone_cut(cut, source.digest, source.house, work.library)
    work.database.change(keep_cut, quiz_id, item.n, digest, cut.frames, now=work.clock())


def tail_seed(clip_id: str, topic: str) -> int:
    """The seed of the tail's length: always the same for a clip, so that two quizzes give nothing away together."""
    return int(digest_of([clip_id, topic])[:12], 16)


def _key(clip: Clip, topic: str) -> Key:
    key = clip.key(topic)
    if key is None:
        raise NotFound(f'"{clip.title}" is no longer keyed for this topic.')
    return key


def _proofs(items: Iterable[QuizItem], clips: dict[str, Clip]) -> Iterator[tuple[str, int]]:
    """Recording and frame of everything that a finding of these items points at."""
    for item in items:
        clip = clips[item.clip_id]
        for finding in _key(clip, item.topic).findings:
            if finding.frame is not None:
                yield finding.view or clip.views[0].recording, finding.frame


def keep_cut(session: Session, quiz_id: str, n: int, digest: str, frames: int, *, now: datetime) -> None:  # noqa: ARG001
    """Keep a phone cut that a job has made."""
    set_cut(session, quiz_id, n, digest, frames)


def assign_crews(
    session: Session, kind: Kind, noun_id: str, crews: Iterable[str], due_at: datetime | None, by: str, *, now: datetime
) -> int:
    """Give the members of crews a quiz or lesson to do; how many people that are.

    Raises NotFound when it is not there, BadInput when it is for nobody.
    """
    if kind == "quiz" and load_quiz(session, noun_id).is_archived:
        raise BadInput("This quiz was taken elsewhere; nobody can take it here.")
    if kind == "lesson":
        load_lesson(session, noun_id)
    people = people_of(session, crews, now)
    if not people:
        raise BadInput("Choose a crew with somebody in it.")
    assign(session, kind, noun_id, people, due_at, now)
    audit(session, now, by, "assign", kind, noun_id, people=len(people))
    return len(people)
