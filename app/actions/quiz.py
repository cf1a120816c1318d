"""Publishing a quiz, cutting its clips for phones, and giving people things to do."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator
from datetime import datetime

from sqlmodel import Session

from app.actions.angles import Sources, cut_angles, pictures_of
from app.actions.difficulty import Difficulty
from app.actions.forms import gathered, people_of
from app.actions.job import Work, order_job
from app.actions.recording import await_prepared
from app.adapters.files import digest_of
from app.adapters.phone import phone_cut
from app.adapters.still import still
from app.domain.clip import Clip, Key
from app.domain.errors import BadInput, NotFound
from app.domain.guard import cut_of
from app.domain.quiz import Drawn, QuizPlan, Taken, dealt
from app.domain.timecode import Rate
from app.store.content import cards_on, clips_by_id, load_lesson
from app.store.league import audit, load_quiet_hours
from app.store.people import list_seats
from app.store.quizzes import (
    AngleCut,
    Assignment,
    Kind,
    Quiz,
    QuizItem,
    add_quiz,
    assign,
    find_quiz,
    list_assignments,
    list_items,
    load_quiz,
    set_cut,
)
from app.store.recordings import recordings_by_id


def publish_quiz(
    session: Session, plan: QuizPlan, rate: Rate, seed: int, due_at: datetime | None, by: str, *, now: datetime
) -> Quiz:
    """Draw a quiz and publish it at once: for plans whose draw takes no time (`takes_long`).

    Raises BadInput when there are not enough clips; then nothing is published.
    """
    found = gathered(session, plan, rate, now)
    return keep_quiz(session, _fresh_id(), plan, found.drawn(plan, seed), found.difficulty, due_at, by, now=now)


def _fresh_id() -> str:
    return secrets.token_urlsafe(8)


def keep_quiz(
    session: Session,
    quiz_id: str,
    plan: QuizPlan,
    chosen: Drawn,
    known: Difficulty,
    due_at: datetime | None,
    by: str,
    *,
    now: datetime,
) -> Quiz:
    """Publish what was drawn: order the phone cuts, and deal the forms to the plan's crews. Again, it changes nothing.

    What is due in the quiet hours is due when they begin.
    """
    there = find_quiz(session, quiz_id)
    if there is not None:
        return there
    due_at = awake(session, due_at)
    quiz = Quiz(quiz_id, plan.title, plan, due_at, by, now)
    add_quiz(session, quiz, items_of(chosen, known))
    people = people_of(session, plan.crews, now)
    forms = dealt(people, plan.forms, {}, plan.deal)
    assign(session, "quiz", quiz.id, forms, due_at, now, forms)
    order_job(session, "cuts", cuts_key(quiz.id), {"quiz": quiz.id}, f"Clips for {quiz.title}", by, now=now)
    facts = {"clips": plan.clips, "forms": plan.forms, "people": len(people), "gave_way": list(chosen.gave_way)}
    audit(session, now, by, "publish", "quiz", quiz.id, title=quiz.title, **facts)
    return quiz


def order_forms(
    session: Session, plan: QuizPlan, rate: Rate, seed: int, due_at: datetime | None, by: str, *, now: datetime
) -> str:
    """Have a quiz drawn and published by a worker, where the draw takes its time; the id of the job."""
    quiz_id = _fresh_id()
    args = {"quiz": quiz_id, "plan": plan.model_dump(mode="json"), "rate": str(rate), "seed": seed, "by": by}
    args["due"] = None if due_at is None else due_at.isoformat()
    return order_job(session, "forms", f"forms:{quiz_id}", args, f"Forms for {plan.title}", by, now=now)


def make_forms(work: Work) -> None:
    """The job `forms`: draw a quiz and publish it whole. Raises BadInput that says what is missing."""
    args = work.args
    plan, rate = QuizPlan.model_validate(args["plan"]), Rate.model_validate(args["rate"])
    work.tell("Choosing clips", 0.1)
    with work.database.read() as session:
        found = gathered(session, plan, rate, work.clock())
    chosen = found.drawn(plan, int(args["seed"]))
    work.tell("Publishing", 0.9)
    due_at = None if args["due"] is None else datetime.fromisoformat(args["due"])
    told = (str(args["quiz"]), plan, chosen, found.difficulty, due_at, str(args["by"]))
    work.database.change(keep_quiz, *told, now=work.clock())


def cuts_key(quiz_id: str) -> str:
    """The key of the job that cuts a quiz's clips."""
    return f"cuts:{quiz_id}"


def items_of(chosen: Drawn, known: Difficulty) -> list[QuizItem]:
    """The items of a quiz: those of each form in turn, spares after them."""
    asked = [(form, each, False) for form, clips in enumerate(chosen.forms) for each in clips]
    spares = [(0, each, True) for each in chosen.spares]
    return [
        QuizItem(
            n=n,
            clip_id=each.clip,
            topic=each.topic,
            side=each.side,
            is_spare=is_spare,
            form=form,
            angle=each.angle,
            chance=known.chance(each.clip, each.topic),
        )
        for n, (form, each, is_spare) in enumerate([*asked, *spares])
    ]


def make_cuts(work: Work) -> None:
    """The job `cuts`: cut every clip of a quiz for phones, then make the pictures that its results will show.

    Raises Waits while recordings are still to be prepared; what could be cut is kept.
    """
    quiz_id = str(work.args["quiz"])
    with work.database.read() as session:
        quiz, items = load_quiz(session, quiz_id), list_items(session, quiz_id)
        clips = clips_by_id(session, [item.clip_id for item in items])
        every = {view.recording for clip in clips.values() for view in clip.views}
        sources = Sources(recordings_by_id(session, every))
        heard = {topic for topic, card in cards_on(session, work.clock().date()).items() if card.sound_cue}
    needed = {item.n: [view.recording for view in sources.views(quiz.plan, clips[item.clip_id])] for item in items}
    ready = [item for item in items if sources.prepared.keys() >= set(needed[item.n])]
    for done, item in enumerate(ready):
        work.tell(f"Clip {done + 1} of {len(items)}", done / len(items))
        if item.cut is None:
            _make_cut(work, quiz, item, clips[item.clip_id], sources, sound=item.topic in heard)
    with work.database.read() as session:
        await_prepared(session, [name for item in items if item not in ready for name in needed[item.n]])
    work.tell("Pictures for the results", 0.99)
    for recording, frame in sorted(set(_proofs(quiz, items, clips, sources))):
        if (source := sources.prepared.get(recording)) is not None and frame < source.frames:
            still(source.digest, frame, source.house, work.library)


def _make_cut(work: Work, quiz: Quiz, item: QuizItem, clip: Clip, sources: Sources, *, sound: bool) -> None:
    source = sources.prepared[clip.views[0].recording]
    cut = cut_of(clip, _key(clip, item.topic), source.house.rate, tail_seed(clip.id, item.topic), sound=sound)
    angles: tuple[AngleCut, ...] = ()
    if quiz.plan.look == "review":
        angles = cut_angles(work, quiz.plan, clip, cut, sources)
        digest = angles[0].cut
    else:
        digest = phone_cut(cut, source.digest, source.house, work.library, has_sound=source.sound)
    work.database.change(keep_cut, quiz.id, item.n, digest, cut.frames, angles, now=work.clock())


def tail_seed(clip_id: str, topic: str) -> int:
    """The seed of the tail's length: always the same for a clip, so that two quizzes give nothing away together."""
    return int(digest_of([clip_id, topic])[:12], 16)


def _key(clip: Clip, topic: str) -> Key:
    key = clip.key(topic)
    if key is None:
        raise NotFound(f'"{clip.title}" is no longer keyed for this topic.')
    return key


def _proofs(
    quiz: Quiz, items: Iterable[QuizItem], clips: dict[str, Clip], sources: Sources
) -> Iterator[tuple[str, int]]:
    """Recording and frame of everything that a finding of these items points at; in review from every view."""
    for item in items:
        clip, key = clips[item.clip_id], _key(clips[item.clip_id], item.topic)
        if quiz.plan.look == "review":
            yield from pictures_of(clip, key, sources)
        for finding in key.findings:
            if finding.frame is not None:
                yield finding.view or clip.views[0].recording, finding.frame


def keep_cut(
    session: Session,
    quiz_id: str,
    n: int,
    digest: str,
    frames: int,
    angles: Iterable[AngleCut] = (),
    *,
    now: datetime,  # noqa: ARG001
) -> None:
    """Keep a phone cut that a job has made; in review with those of all views."""
    set_cut(session, quiz_id, n, digest, frames, angles)


def awake(session: Session, due_at: datetime | None) -> datetime | None:
    """When something is due that was to be due at an instant: never in the league's quiet hours, which it precedes."""
    if due_at is None:
        return None
    wall = due_at.astimezone().replace(tzinfo=None)
    before = load_quiet_hours(session).before(wall)
    return due_at if before == wall else before.astimezone()


def assign_crews(
    session: Session, kind: Kind, noun_id: str, crews: Iterable[str], due_at: datetime | None, by: str, *, now: datetime
) -> int:
    """Give the members of crews a quiz or lesson to do; how many people that are. Forms of a quiz go on in turn.

    What is due in the quiet hours is due when they begin. Raises NotFound when it is not there, BadInput when it is
    for nobody.
    """
    people = people_of(session, crews, now)
    forms: dict[str, int] = {}
    if kind == "lesson":
        load_lesson(session, noun_id)
    else:
        quiz = load_quiz(session, noun_id)
        if quiz.is_archived:
            raise BadInput("This quiz was taken elsewhere; nobody can take it here.")
        forms = dealt(people, quiz.plan.forms, _given(session, noun_id), quiz.plan.deal)
    if not people:
        raise BadInput("Choose a crew with somebody in it.")
    names = [each.person for each in people]
    assign(session, kind, noun_id, names, awake(session, due_at), now, forms)
    audit(session, now, by, "assign", kind, noun_id, people=len(people))
    return len(people)


def _given(session: Session, quiz_id: str) -> dict[str, int]:
    return {each.person_id: each.form for each in list_assignments(session, "quiz", noun_id=quiz_id)}


def join_in(session: Session, person_id: str, crew_id: str, *, now: datetime) -> int:
    """Give somebody who is new in a crew what at least half of the others there still have to do; how much that is.

    It is due when it is for them; what was due before is over.
    """
    mates = [seat.person.id for seat in list_seats(session, now.date(), crew_id) if seat.person.id != person_id]
    everything = list_assignments(session)
    mine = {(each.kind, each.noun_id) for each in everything if each.person_id == person_id}
    theirs: dict[tuple[Kind, str], list[Assignment]] = {}
    for each in everything:
        if each.person_id in mates and (each.due_at is None or each.due_at > now):
            theirs.setdefault((each.kind, each.noun_id), []).append(each)
    joined = [given for what, given in theirs.items() if what not in mine and 2 * len(given) >= len(mates)]
    for given in joined:
        _give_too(session, given, Taken(person_id, crew_id), now)
    return len(joined)


def _give_too(session: Session, given: list[Assignment], new: Taken, now: datetime) -> None:
    """Give somebody what these have been given; a quiz that was taken elsewhere is nobody's any more."""
    kind, noun_id, due_at = given[0].kind, given[0].noun_id, given[0].due_at
    forms: dict[str, int] = {}
    if kind == "quiz":
        quiz = load_quiz(session, noun_id)
        if quiz.is_archived:
            return
        crew = [Taken(each.person_id, new.crew) for each in given]
        forms = dealt([*crew, new], quiz.plan.forms, _given(session, noun_id), quiz.plan.deal)
    assign(session, kind, noun_id, [new.person], due_at, now, forms)
