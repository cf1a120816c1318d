"""The marking desk: a play on its recording, the cards by which it may be keyed, and the form as it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session
from starlette.requests import Request

from app.actions.clip import angles_of, card_texts, cards_for
from app.domain.clip import Clip
from app.domain.errors import NotFound
from app.domain.people import Position
from app.domain.recording import Game, House, Recording, in_step
from app.domain.rulecard import RuleCard
from app.store.clip_edits import Edit, last_edit
from app.store.content import list_cards, list_exceptions, list_games, list_positions, load_clip
from app.store.recordings import RecordingFacts, clips_on, recordings_by_id
from app.web.clip_form import typed_of
from app.web.meanwhile import Meanwhile, meanwhile_of
from app.web.media import media_address


@dataclass(frozen=True)
class Angle:
    """A recording that can be looked at. `offset`: frames to add to the desk's own to be in step with it."""

    id: str
    title: str
    address: str
    offset: int
    frames: int


@dataclass(frozen=True)
class CardRow:
    """A row of a rule card: its number (0 for an exception), words, and whether it takes the offence away."""

    of: str
    n: int
    text: str
    is_exception: bool


@dataclass(frozen=True)
class Difference:
    """A field of which somebody else has said something different meanwhile."""

    what: str
    yours: str
    theirs: str


@dataclass(frozen=True)
class DeskPage:
    """The marking desk: a play on its recording, with every card that may be chosen and the form as it stands.

    `meanwhile`: what can be seen of the recording before it is prepared. `frames`: how many it has, or will have.
    """

    clip: Clip | None
    version: int
    edit: Edit | None
    recording: RecordingFacts
    meanwhile: Meanwhile | None
    game: Game | None
    angles: list[Angle]
    house: House
    frames: int
    frame: int
    cards: list[tuple[RuleCard, list[CardRow]]]
    positions: list[Position]
    typed: Mapping[str, Any]
    recordings: list[Recording]
    about: Mapping[str, str] = field(default_factory=dict)
    differences: list[Difference] = field(default_factory=list)


def recording_of(session: Session, clip: Clip) -> RecordingFacts:
    """The recording on which a clip is marked. Raises NotFound for a play of which there is only a key."""
    first = clip.views[0].recording
    facts = recordings_by_id(session, [first]).get(first)
    if facts is None:
        raise NotFound("This play has no picture here; it was recorded elsewhere.")
    return facts


def desk_of(
    request: Request, session: Session, facts: RecordingFacts, clip: Clip | None, now: datetime, topic: str
) -> DeskPage:
    """The desk as it is first seen. Raises NotFound when there is no rule card to key by."""
    recording = facts.recording
    game = clip.game if clip is not None else recording.game
    cards = _cards(session, clip, game, now)
    chosen = next((card for card in cards if card.id == topic), None) or _first(cards, clip or _latest(session, facts))
    shared = {each.id: each.text for each in list_exceptions(session)}
    typed = {"topic": chosen.id, "how": "quick"} if clip is None else typed_of(clip, chosen.id, chosen)
    prepared = facts.prepared
    house = request.state.league.house if prepared is None else prepared.house
    meanwhile = meanwhile_of(request, facts, house.rate)
    return DeskPage(
        clip=clip,
        version=0 if clip is None else load_clip(session, clip.id)[1],
        edit=None if clip is None else last_edit(session, clip.id),
        recording=facts,
        meanwhile=meanwhile,
        game=next((each for each in list_games(session) if each.id == game), None),
        angles=_angles(request, session, facts) if meanwhile is None else _as_it_came(facts, meanwhile),
        recordings=_recordings(session, facts, clip),
        house=house,
        frames=_expected(meanwhile, clip) if prepared is None else prepared.frames,
        frame=int(typed.get("decisive", 0)),
        cards=[(card, _rows(card, shared)) for card in cards],
        positions=list_positions(session),
        typed=typed,
    )


def _cards(session: Session, clip: Clip | None, game: str | None, now: datetime) -> list[RuleCard]:
    """Cards in force on the day of the game, and any by which the clip is keyed already."""
    cards = cards_for(session, game, now.date())
    here = {card.id for card in cards}
    keyed = () if clip is None else clip.topics
    others = {card.id: card for card in list_cards(session) if card.id in keyed and card.id not in here}
    if not (cards or others):
        raise NotFound("There is no rule card to key a play by. Bring a curriculum first.")
    return [*cards, *others.values()]


def _latest(session: Session, facts: RecordingFacts) -> Clip | None:
    """The last play marked on a recording: the next one is likely of its topic."""
    return next(reversed(clips_on(session, facts.id)), None)


def _first(cards: list[RuleCard], clip: Clip | None) -> RuleCard:
    keyed = () if clip is None else clip.topics
    return next((card for card in cards if card.id in keyed), cards[0])


def _rows(card: RuleCard, shared: Mapping[str, str]) -> list[CardRow]:
    texts = card_texts(card, dict(shared))
    elements = [CardRow(of, n, texts[of], False) for n, of in enumerate(card.element_ids, start=1)]
    return elements + [CardRow(of, 0, texts[of], True) for of in card.exception_ids]


def _recordings(session: Session, facts: RecordingFacts, clip: Clip | None) -> list[Recording]:
    """The desk's own recording, those in step with it, and any other on which the clip is seen already."""
    in_reach = [facts, *(each for each in angles_of(session, facts.recording) if each.id != facts.id)]
    names = {each.id for each in in_reach}
    more = [view.recording for view in (clip.views if clip is not None else ()) if view.recording not in names]
    return [each.recording for each in (*in_reach, *recordings_by_id(session, more).values())]


def _angles(request: Request, session: Session, facts: RecordingFacts) -> list[Angle]:
    return [
        Angle(
            id=each.id,
            title=each.recording.angle,
            address=media_address(request, "picture", each.prepared.digest),
            offset=in_step(0, facts.recording, each.recording),
            frames=each.prepared.frames,
        )
        for each in angles_of(session, facts.recording)
        if each.prepared is not None
    ]


def _as_it_came(facts: RecordingFacts, meanwhile: Meanwhile) -> list[Angle]:
    """The file as it came, in place of the picture that is to be made of it."""
    if not meanwhile.address:
        return []
    return [Angle(facts.id, facts.recording.angle, meanwhile.address, 0, meanwhile.frames)]


def _expected(meanwhile: Meanwhile | None, clip: Clip | None) -> int:
    """How many frames a recording will have; at least those that a clip on it has."""
    return max(1 if meanwhile is None else meanwhile.frames, 1 if clip is None else clip.views[0].out)


def typed_again(desk: DeskPage, typed: Mapping[str, Any], **more: Any) -> DeskPage:
    """The desk with the form as it was typed, standing where its decisive moment is."""
    at = str(typed.get("decisive", ""))
    frame = int(at) if at.isdecimal() and len(at) < 10 else desk.frame
    return replace(desk, typed=typed, frame=min(frame, desk.frames - 1), **more)


WORDS = {
    "title": "Title",
    "topic": "Topic",
    "in_frame": "In",
    "out_frame": "Out",
    "decisive": "Decisive moment",
    "reveal": "Reveal",
    "ruling": "You rule",
    "reason": "Because of",
    "leave_it": "Left because",
    "review": "In review",
    "variant": "Variant",
    "second_answer": "Second answer",
    "called": "The crew called",
    "positions": "Called by",
    "helped": "Helped",
    "angles": "Other angles",
    "teaching": "Teaching point",
    "must_get": "Nobody may miss it",
    "injury": "Somebody is hurt in it",
}
"""What the fields of the form are called on the page."""


def differences(desk: DeskPage, typed: Mapping[str, Any]) -> list[Difference]:
    """Where what was typed is not what the newest version says."""
    topic = str(typed.get("topic", ""))
    card = next((card for card, _ in desk.cards if card.id == topic), desk.cards[0][0])
    now = {} if desk.clip is None else typed_of(desk.clip, card.id, card)
    names = {**WORDS, **{f"shows.{row.of}": row.text for _, rows in desk.cards for row in rows}}
    names |= {f"frame.{row.of}": f"{row.text}, at frame" for _, rows in desk.cards for row in rows}
    both = ((words, _plain(typed.get(name)), _plain(now.get(name))) for name, words in names.items())
    return [
        Difference(what, yours or "nothing", theirs or "nothing") for what, yours, theirs in both if yours != theirs
    ]


def _plain(value: Any) -> str:
    """A field's value as one would read it; a tick reads the same from the form and from a clip."""
    if isinstance(value, list):
        return ", ".join(sorted(map(str, value)))
    if isinstance(value, bool):
        return "yes" if value else ""
    return "" if value is None else str(value)
