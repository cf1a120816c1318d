"""What a quiz may be drawn from as things stand, what is missing for it, and quiz plans as people write them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session

from app.actions.difficulty import UNKNOWN, Difficulty, answered, difficulty
from app.domain.clip import Clip, Key
from app.domain.errors import BadInput, Conflict
from app.domain.guard import refusal_of
from app.domain.marking import deciding
from app.domain.quiz import USUAL_SHARE, Candidate, Drawn, QuizPlan, Taken, Wording, dealt, drawn, shortages
from app.domain.rulecard import RuleCard, Ruling
from app.domain.ruling import disagreement
from app.domain.timecode import Rate
from app.store.content import cards_on, list_clips, list_plans, load_lesson, save_plan
from app.store.editions import list_begun, published
from app.store.league import audit
from app.store.people import list_seats
from app.store.quizzes import count_uses, list_assignments
from app.store.recordings import RecordingState, recordings_by_id
from app.store.sittings import list_looked_at


@dataclass(frozen=True)
class Gathered:
    """Clips that a plan may draw from. `people`: who is asked, and so has a say in what counts as seen."""

    candidates: list[Candidate]
    difficulty: Difficulty
    people: list[Taken]
    wording: Wording

    def drawn(self, plan: QuizPlan, seed: int) -> Drawn:
        """The forms. Raises BadInput that says what is missing."""
        return drawn(plan, self.candidates, seed, cut=self.difficulty.cut, wording=self.wording)


@dataclass(frozen=True)
class Stock:
    """Clips that a plan may draw from, by side; how many of them have a known difficulty; what is missing, in words."""

    flags: int
    no_flags: int
    known: int
    shortages: tuple[str, ...]


def gathered(session: Session, plan: QuizPlan, rate: Rate, now: datetime) -> Gathered:
    """Clips for a plan as things stand, when its crews are asked; how hard they are, where the draw depends on it."""
    matters = plan.forms > 1 or plan.difficulty != "any"
    return _gathered(session, plan, rate, now, difficulty(session, plan.topics) if matters else UNKNOWN)


def _gathered(session: Session, plan: QuizPlan, rate: Rate, now: datetime, known: Difficulty) -> Gathered:
    people, since = people_of(session, plan.crews, now), now - timedelta(days=plan.unseen_days)
    cards = cards_on(session, now.date())
    barred = _barred(session, plan, people, since)
    uses = count_uses(session)
    offered = [
        Candidate(
            topic=key.topic,
            side=key.ruling,
            clip=clip.id,
            seen=uses.get(clip.id, 0),
            feature=deciding(cards[key.topic], key, {}),
            angle=angle,
            b=known.b.get((clip.id, key.topic)),
            barred=frozenset(form for form, clips in barred.items() if clip.id in clips),
        )
        for clip, angle in _shown(session, plan)
        for key in clip.keys
        if key.topic in plan.topics and key.topic in cards and refusal(clip, key, cards[key.topic], rate) is None
        if plan.most_uses is None or uses.get(clip.id, 0) < plan.most_uses
    ]
    free = [each for each in offered if len(each.barred) < plan.forms]
    titles = {topic: card.title for topic, card in cards.items()}
    return Gathered(free, known, people, Wording(titles, _unseen(plan, since.date(), bool(people))))


def refusal(clip: Clip, key: Key, card: RuleCard, rate: Rate) -> str | None:
    """Why a quiz cannot ask about a clip, in a sentence; None when it can."""
    if disagreement(card, key.shown, key.ruling, leave_it=bool(key.leave_it)) is not None:
        return f'The ruling of "{clip.title}" and the card disagree, and nothing says why.'
    return refusal_of(clip, key, rate)


def _shown(session: Session, plan: QuizPlan) -> list[tuple[Clip, str]]:
    """Clips whose recording has not been refused, each with the angle of its first view; of the plan's angles."""
    clips = list_clips(session)
    facts = recordings_by_id(session, {clip.views[0].recording for clip in clips})
    angles = {name: each.recording.angle for name, each in facts.items() if each.state is not RecordingState.REFUSED}
    found = [(clip, angles[clip.views[0].recording]) for clip in clips if clip.views[0].recording in angles]
    return [(clip, angle) for clip, angle in found if not plan.angles or angle in plan.angles]


def people_of(session: Session, crews: Iterable[str], now: datetime) -> list[Taken]:
    """Who sits in these crews today."""
    return [Taken(seat.person.id, crew) for crew in crews for seat in list_seats(session, now.date(), crew)]


def _barred(session: Session, plan: QuizPlan, people: list[Taken], since: datetime) -> Mapping[int, set[str]]:
    """Form -> clips that somebody who gets it has been asked about since then, or sees in a lesson of theirs."""
    forms = dealt(people, plan.forms, {}, plan.deal)
    takers = {form: [name for name, theirs in forms.items() if theirs == form] for form in range(plan.forms)}
    return {
        form: list_looked_at(session, names, since) | taught_to(session, names, since) for form, names in takers.items()
    }


def taught_to(session: Session, people: Iterable[str], since: datetime) -> set[str]:
    """Clips of the lessons that any of these people is to watch, or was to since then, or began to watch since then."""
    names = set(people)
    given = {
        each.noun_id
        for each in list_assignments(session, "lesson")
        if each.person_id in names and (each.due_at is None or each.due_at >= since)
    }
    begun = {lesson for lesson, at in list_begun(session, names) if at >= since}
    return _clips_in(session, given | begun)


def taught_before(session: Session, person_id: str, by: datetime) -> set[str]:
    """Clips of every lesson that somebody had been given by then, or had begun to watch."""
    given = {each.noun_id for each in list_assignments(session, "lesson", person_id) if each.made_at <= by}
    begun = {lesson for lesson, at in list_begun(session, [person_id]) if at <= by}
    return _clips_in(session, given | begun)


def _clips_in(session: Session, lessons: Iterable[str]) -> set[str]:
    """Clips that lessons show, as they are now and in the versions that people watch."""
    out = published(session)
    drafts = [load_lesson(session, lesson)[0] for lesson in lessons]
    shown = [*drafts, *(out[each.id].lesson for each in drafts if each.id in out)]
    return {clip for lesson in shown for clip in lesson.clips}


def _unseen(plan: QuizPlan, since: date, has_people: bool) -> str:
    """What shortages say of clips that were left out: ` that these crews have not seen since 1 May`."""
    angles = f" from {' or '.join(plan.angles)}" if plan.angles else ""
    if not has_people or not plan.unseen_days:
        return angles
    whose = "this crew has" if len(plan.crews) == 1 else "these crews have"
    return f"{angles} that {whose} not seen since {since.day} {since:%B}"


def stock_of(session: Session, plan: QuizPlan, rate: Rate, now: datetime) -> Stock:
    """What there is for a plan and its crews, and what is missing, in words."""
    found = _gathered(session, plan, rate, now, answered(session) if plan.difficulty != "any" else UNKNOWN)
    sides = {side: {each.clip for each in found.candidates if each.side is side} for side in Ruling}
    known = len({each.clip for each in found.candidates if each.b is not None})
    missing = tuple(shortages(plan, found.candidates, found.wording))
    return Stock(len(sides[Ruling.FLAG]), len(sides[Ruling.NO_FLAG]), known, missing)


def keep_plan(session: Session, plan: QuizPlan, by: str, *, is_new: bool, now: datetime) -> None:
    """Keep a plan as somebody wrote it. Quizzes that were made of it before stay as they are.

    Raises BadInput when an unusual share has no reason, Conflict when a new plan's id or title is taken.
    """
    low, high = plan.no_flag_share
    if not plan.why and (low < USUAL_SHARE[0] or high > USUAL_SHARE[1]):
        raise BadInput("Say in a word why not about half: else guessing one way gains something.")
    others = [each for each in list_plans(session) if is_new or each.id != plan.id]
    if plan.title.casefold() in {each.title.casefold() for each in others} or (
        is_new and plan.id in {each.id for each in others}
    ):
        raise Conflict("There is a plan of this name already.")
    save_plan(session, plan)
    audit(session, now, by, "plan", "quiz plan", plan.id, title=plan.title)
