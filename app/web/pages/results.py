"""Results: one's checks, one check look by look, one look with the picture that proves the answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import Field
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.actions.clearing import Standing, goes_on, standing
from app.actions.result import InReview, MarkedLook, Result, in_review, result_of, results_of, tendency_in
from app.actions.sitting import disagree
from app.domain.clip import Finding
from app.domain.errors import NotFound
from app.domain.marking import ALL, finding_of
from app.domain.recording import Prepared
from app.domain.rulecard import Presence, RuleCard, Ruling, When
from app.domain.ruling import Judgement, live
from app.domain.sequence import Found
from app.domain.tendency import Tendency
from app.domain.timecode import Rate, clock
from app.store.content import cards_on
from app.store.disagreements import Disagreement, list_disagreements
from app.store.people import load_person
from app.store.recordings import recordings_by_id
from app.store.sittings import Sitting
from app.web import forms
from app.web.auth import Db, Looking, Now
from app.web.ids import LookNumber, RandomId
from app.web.media import still_address
from app.web.render import page
from app.web.review_result import ReviewResult, Sources, review_result
from app.web.viewer import Viewer

router = APIRouter()

Point = Annotated[str, Query(max_length=80)]


@dataclass(frozen=True)
class ResultsPage:
    """One's checks, the newest first. `titles`: of topics, by id. `tendency`: of their live looks together.

    `reviews`: of their review looks together.
    """

    results: list[Result]
    titles: Mapping[str, str]
    tendency: Tendency
    reviews: InReview


@dataclass(frozen=True)
class ResultPage:
    """A check look by look. `who`: empty where it is one's own. `too_many`, `missed`: wrong flags, flags not given.

    `by_luck`: right calls for a reason that the picture does not show. `found`: what a whole check for clearance came
    to, with its `sittings`.
    """

    result: Result
    who: str
    too_many: int
    missed: int
    by_luck: int
    found: list[Found]
    sittings: tuple[Sitting, ...]


@dataclass(frozen=True)
class Proof:
    """A frame that proves something. `before`, `after`: the points whose frames come before and after it."""

    label: str
    address: str | None
    before: str | None
    after: str | None


@dataclass(frozen=True)
class PointLine:
    """An element or exception: what the picture shows of it and when, why that is so, and what was said."""

    id: str
    number: int | None
    text: str
    shows: Presence | None
    said: Presence | None
    time: str
    why: str
    is_wrong: bool


@dataclass(frozen=True)
class LookResultPage:
    """One look. `named`: the text of the one point that was named instead, after one tap. `review`: of a review."""

    result: Result
    look: MarkedLook
    who: str
    judgement: Judgement
    proof: Proof | None
    deciding: PointLine
    others: list[PointLine]
    named: str
    disagreement: Disagreement | None
    next: MarkedLook | None
    review: ReviewResult | None


@dataclass(frozen=True)
class DisagreePage:
    """The form to disagree with."""

    result: Result
    look: MarkedLook
    typed: Mapping[str, Any] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


class DisagreeForm(forms.Form):
    """In one's own words."""

    text: str = Field(min_length=3, max_length=2000)


@router.get("/results")
def results_page(request: Request, db: Db, viewer: Looking, at: Now) -> Response:
    """One's checks."""
    with db.read() as session:
        results, cards = results_of(session, viewer.person_id), cards_on(session, at.date())
    titles = {topic: card.title for topic, card in cards.items()}
    return page(request, "result/list.html", ResultsPage(results, titles, tendency_in(results), in_review(results)))


@router.get("/sittings/{sitting_id}/result")
def result_page(request: Request, sitting_id: RandomId, db: Db, viewer: Looking, at: Now) -> Response:
    """A check look by look; one that has not ended goes on instead."""
    with db.read() as session:
        found = result_of(session, sitting_id)
        who = _who(session, found, viewer)
        if goes_on(session, found.sitting):
            return _not_ended(found, viewer)
        whole = _whole(session, found)
    wrong = [look for look in found.looks if look.counts and not look.is_right]
    too_many = sum(look.answer.decision is Ruling.FLAG for look in wrong)
    missed = sum(look.answer.decision is Ruling.NO_FLAG for look in wrong)
    by_luck = sum(look.is_right and look.reason_holds is False for look in found.looks)
    told = [] if whole is None else whole.found(at.date())
    sittings = () if whole is None else whole.sittings
    return page(request, "result/show.html", ResultPage(found, who, too_many, missed, by_luck, told, sittings))


def _whole(session: Session, result: Result) -> Standing | None:
    """The whole check for clearance that a sitting belongs to; None for any other check."""
    if result.quiz.plan.purpose != "clearance":
        return None
    return standing(session, result.quiz, result.sitting.person_id, result.sitting.began_at)


def _who(session: Session, result: Result, viewer: Viewer) -> str:
    """Whose check it is, for the staff; "" for its own person. Raises NotFound for everybody else."""
    if result.sitting.person_id == viewer.person_id:
        return ""
    if not viewer.is_staff:
        raise NotFound("There is no such check.")
    return load_person(session, result.sitting.person_id).name


def _not_ended(result: Result, viewer: Viewer) -> Response:
    if result.sitting.person_id != viewer.person_id:
        raise NotFound("This check is still being taken.")
    if result.sitting.ended_at is not None:
        return RedirectResponse(f"/checks/{result.quiz.id}", 303)
    return RedirectResponse(f"/sittings/{result.sitting.id}", 303)


@router.get("/sittings/{sitting_id}/result/{n}")
def look_result_page(
    request: Request, sitting_id: RandomId, n: LookNumber, db: Db, viewer: Looking, at: Point = ""
) -> Response:
    """One look; `at` names the point whose frame is shown. Raises NotFound."""
    with db.read() as session:
        found = result_of(session, sitting_id)
        who = _who(session, found, viewer)
        if goes_on(session, found.sitting):
            return _not_ended(found, viewer)
        look = found.look(n)
        told = [each for each in list_disagreements(session, sitting_id=sitting_id) if each.n == n]
        facts = recordings_by_id(session, {view.recording for view in look.clip.views})
    prepared = {name: each.prepared for name, each in facts.items() if each.prepared is not None}
    shown = finding_of(look.key, at) or finding_of(look.key, look.deciding)
    rate = request.state.league.house.rate
    sources = Sources({name: each.recording for name, each in facts.items()}, prepared, rate)
    lines = [_line(found, look, name, rate) for name in (*look.card.element_ids, *look.card.exception_ids)]
    context = LookResultPage(
        result=found,
        look=look,
        who=who,
        judgement=live(look.card, look.key.shown, leave_it=bool(look.key.leave_it)),
        proof=_proof(request, look, shown, prepared),
        deciding=next(line for line in lines if line.id == look.deciding),
        others=[line for line in lines if line.id != look.deciding and line.shows is not None],
        named=_named(found, look),
        disagreement=told[-1] if told else None,
        next=found.after(n),
        review=review_result(request, found, look, sources, None if shown is None else _place(look, shown)),
    )
    return page(request, "result/look.html" if look.review is None else "result/review.html", context)


# --------------------------------------------------------------------------------- points


def _line(result: Result, look: MarkedLook, name: str, rate: Rate) -> PointLine:
    ids, finding = look.card.element_ids, finding_of(look.key, name)
    return PointLine(
        id=name,
        number=ids.index(name) + 1 if name in ids else None,
        text=result.text_of(look.card, name),
        shows=None if finding is None else finding.shows,
        said=_said(look, name),
        time="" if finding is None else _time(look, finding, rate),
        why="" if finding is None else finding.why,
        is_wrong=name in look.wrong,
    )


def _said(look: MarkedLook, name: str) -> Presence | None:
    """What was said of a point; None where nothing was."""
    everything = look.said.get(ALL)
    if everything is Presence.PRESENT and name in look.card.exception_ids:
        return Presence.ABSENT
    return everything or look.said.get(name)


def _named(result: Result, look: MarkedLook) -> str:
    """The one point that was named after one tap, where another one decides it."""
    if look.reasons is None or look.reasons.is_whole:
        return ""
    named = next(iter(look.said), ALL)
    if named in (ALL, look.deciding):
        return ""
    factors = {each.id: each.text for each in look.card.non_factors}
    return factors.get(named) or result.text_of(look.card, named)


# --------------------------------------------------------------------------------- frames


def _place(look: MarkedLook, finding: Finding) -> tuple[str, int] | None:
    """Recording and frame that a finding points at; None where it names no frame."""
    return None if finding.frame is None else (finding.view or look.clip.views[0].recording, finding.frame)


def _time(look: MarkedLook, finding: Finding, rate: Rate) -> str:
    """How far into the play, on the view that shows it."""
    place = _place(look, finding)
    if place is None:
        return ""
    view = look.clip.view(place[0])
    return clock(max(0, place[1] - (view.in_ if view else 0)), rate)


def _proof(
    request: Request, look: MarkedLook, finding: Finding | None, prepared: Mapping[str, Prepared]
) -> Proof | None:
    """The picture of a finding; None where the key names no frame for it."""
    place = None if finding is None else _place(look, finding)
    if finding is None or place is None:
        return None
    stops = _stops(look)
    here = next(k for k, (where, _) in enumerate(stops) if where == place)
    rate = request.state.league.house.rate
    return Proof(
        label=f"{_instant(look.card, finding, look.key.decisive)} {_time(look, finding, rate)}",
        address=still_address(request, prepared.get(place[0]), place[1]),
        before=stops[here - 1][1] if here > 0 else None,
        after=stops[here + 1][1] if here + 1 < len(stops) else None,
    )


def _stops(look: MarkedLook) -> list[tuple[tuple[str, int], str]]:
    """The different frames that findings point at, in order, each with the first point that it proves."""
    found: dict[tuple[str, int], str] = {}
    for finding in look.key.findings:
        place = _place(look, finding)
        if place is not None:
            found.setdefault(place, finding.of)
    return sorted(found.items(), key=lambda stop: (stop[0][1], stop[0][0]))


def _instant(card: RuleCard, finding: Finding, decisive: int) -> str:
    element = next((each for each in card.elements if each.id == finding.of), None)
    if element is not None and element.when is When.NAMED:
        return f"At the {str(element.instant).replace('-', ' ')},"
    return "At the decisive moment," if finding.frame == decisive else "At"


# --------------------------------------------------------------------------------- disagreeing


@router.get("/sittings/{sitting_id}/result/{n}/disagree")
def disagree_page(request: Request, sitting_id: RandomId, n: LookNumber, db: Db, viewer: Looking) -> Response:
    """The form."""
    return page(request, "result/disagree.html", DisagreePage(*_own(db, sitting_id, n, viewer)))


def _own(db: Db, sitting_id: str, n: int, viewer: Viewer) -> tuple[Result, MarkedLook]:
    """A look of one's own ended check. Raises NotFound."""
    with db.read() as session:
        found = result_of(session, sitting_id)
        is_told = not goes_on(session, found.sitting)
    if found.sitting.person_id != viewer.person_id or not is_told:
        raise NotFound("There is no such check.")
    return found, found.look(n)


@router.post("/sittings/{sitting_id}/result/{n}/disagree")
async def disagree_with(
    request: Request, sitting_id: RandomId, n: LookNumber, db: Db, viewer: Looking, at: Now
) -> Response:
    """Tell the supervisor."""
    try:
        form = await forms.read(request, DisagreeForm)
    except forms.Mistakes as mistakes:
        shown = DisagreePage(*_own(db, sitting_id, n, viewer), mistakes.typed, mistakes.about)
        return page(request, "result/disagree.html", shown, status=422)
    await db.changed(disagree, sitting_id, n, viewer.person_id, form.text, now=at)
    return RedirectResponse(f"/sittings/{sitting_id}/result/{n}#told", 303)
