"""Marking plays: what a clip must say before it is kept, keeping it, and what the league's clips do not show yet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from app.domain.clip import Clip, Key, clips_of
from app.domain.curriculum import Curriculum, Fault, faults, length_faults
from app.domain.errors import BadInput, Misplaced
from app.domain.recording import Prepared, Recording, filmed_together
from app.domain.rulecard import Presence, RuleCard, Ruling
from app.store.content import (
    add_clip,
    list_cards,
    list_exceptions,
    list_games,
    list_positions,
    load_clip,
    save_clip,
)
from app.store.league import audit, load_league
from app.store.recordings import RecordingFacts, RecordingState, clips_on, list_recordings, recordings_by_id


def mark_clip(session: Session, clip: Clip, base: int, by: str, *, now: datetime) -> int:
    """Keep a clip as it was marked, as its next version, which is returned; `base` 0: it is new.

    Raises Misplaced with the first thing that does not fit; NotFound; Conflict when it was changed since version
    `base`, or when a new clip's id is taken.
    """
    for fault in clip_faults(session, clip):
        raise Misplaced(fault.path, fault.what)
    if base == 0:
        add_clip(session, clip, by, now)
        version, before = 1, None
    else:
        before = load_clip(session, clip.id)[0]
        version = save_clip(session, clip, base, by, now)
    keys = {key.topic: key.ruling.value for key in clip.keys}
    audit(session, now, by, "mark", "clip", clip.id, version=version, keys=keys, changed=_changed(before, clip))
    return version


def _changed(before: Clip | None, after: Clip) -> list[str]:
    """Names of the parts that an edit changed, for the trail."""
    if before is None:
        return []
    return [name for name in Clip.model_fields if getattr(before, name) != getattr(after, name)]


def clip_faults(session: Session, clip: Clip) -> list[Fault]:
    """What stands in the way of keeping a clip: frames outside its views, names that mean nothing here.

    Paths begin at the clip: ("reveal",), ("keys", 0, "decisive"). That a ruling and its card disagree is no fault:
    the page says so, and one of them may be corrected later.
    """
    found = recordings_by_id(session, [view.recording for view in clip.views])
    exceptions = list_exceptions(session)
    whole = Curriculum(
        about=load_league(session).about,
        positions=tuple(list_positions(session)),
        games=tuple(list_games(session)),
        recordings=tuple(facts.recording for facts in found.values()),
        exceptions=tuple(exceptions),
        cards=tuple(list_cards(session)),
        clips=(clip.model_copy(update={"looks_like": None}),),
    )
    every = [*faults(whole), *length_faults(whole, lambda name: _frames(found.get(name)))]
    mine = [Fault(f.path[2:], f.what, f.expected) for f in every if f.path[:2] == ("clips", clip.id) and not f.warning]
    return mine + list(_unusable(clip, found))


def _frames(facts: RecordingFacts | None) -> int | None:
    return None if facts is None or facts.prepared is None else facts.prepared.frames


def _unusable(clip: Clip, found: dict[str, RecordingFacts]) -> Iterator[Fault]:
    """Views on recordings that will never have a picture; those that wait for theirs may be marked meanwhile."""
    for n, view in enumerate(clip.views):
        if view.recording in found and found[view.recording].state is RecordingState.REFUSED:
            yield Fault(("views", n, "recording"), f"{found[view.recording].recording.angle} could not be used")


_SLACK_S = 2
"""By how much a header may promise more picture than there is; marks beyond that are a person's to correct."""


def settle_marks(session: Session, recording_id: str, prepared: Prepared, *, now: datetime) -> None:
    """Of clips that were marked before their recording was prepared, end with its picture those that end just after."""
    latest = prepared.frames + int(_SLACK_S * prepared.house.rate.fraction)
    for clip in clips_on(session, recording_id):
        views = tuple(
            view.model_copy(update={"out": prepared.frames})
            if view.recording == recording_id and view.in_ < prepared.frames < view.out <= latest
            else view
            for view in clip.views
        )
        _settle(session, clip, clip.model_copy(update={"views": views}), now)


def move_marks(session: Session, source: str, target: str, *, now: datetime) -> None:
    """Move what is marked on a recording to another one of the same bytes; clips that are seen on both stay."""
    for clip in clips_on(session, source):
        if clip.view(target) is None:
            moved = Clip.model_validate(_renamed(clip.model_dump(mode="json", by_alias=True), source, target))
            _settle(session, clip, moved, now)


def _renamed(value: Any, source: str, target: str) -> Any:
    """A clip's document in which every view names another recording."""
    if isinstance(value, list):
        return [_renamed(each, source, target) for each in value]
    if not isinstance(value, dict):
        return value
    names = {name: target for name in ("recording", "view") if value.get(name) == source}
    return {name: _renamed(each, source, target) for name, each in value.items()} | names


def _settle(session: Session, before: Clip, after: Clip, now: datetime) -> None:
    if after != before:
        version = save_clip(session, after, load_clip(session, before.id)[1], "system", now)
        changed = _changed(before, after)
        audit(session, now, "system", "mark", "clip", after.id, version=version, changed=changed)


def angles_of(session: Session, recording: Recording) -> list[RecordingFacts]:
    """The ready recordings that filmed the same moments of a game, the given one first: to be looked at in step."""
    ready = [facts for facts in list_recordings(session) if facts.is_ready]
    mine = [facts for facts in ready if facts.id == recording.id]
    if recording.game is None:
        return mine
    others = [facts for facts in ready if facts.recording.game == recording.game and facts.id != recording.id]
    return mine + [each for each in others if all(_together(own, each) for own in mine)]


def _together(one: RecordingFacts, other: RecordingFacts) -> bool:
    if one.prepared is None or other.prepared is None:
        return False
    return filmed_together(one.recording, one.prepared.frames, other.recording, other.prepared.frames)


def cards_for(session: Session, game: str | None, today: date) -> list[RuleCard]:
    """The rule cards in force on the day of a game, or today where that is not known; by title."""
    played = next((each.on for each in list_games(session) if each.id == game), None)
    day = played or today
    return sorted((card for card in list_cards(session) if card.holds_on(day)), key=lambda card: card.title)


@dataclass(frozen=True)
class Coverage:
    """How well a topic is covered: clips of each side, and what no clip shows yet, as (what, how) pairs of words."""

    card: RuleCard
    flags: int
    no_flags: int
    missing: tuple[tuple[str, str], ...]


def coverage(card: RuleCard, clips: Iterable[Clip], texts: dict[str, str]) -> Coverage:
    """What the clips of a topic show; `texts`: words of elements and exceptions (also shared ones) by id."""
    keyed = [key for clip in clips_of(clips, card.id) if (key := clip.key(card.id)) is not None]
    flags = sum(key.ruling is Ruling.FLAG for key in keyed)
    return Coverage(card, flags, len(keyed) - flags, tuple(_missing(card, keyed, texts)))


def _missing(card: RuleCard, keyed: list[Key], texts: dict[str, str]) -> Iterator[tuple[str, str]]:
    shown = {(name, shows) for key in keyed for name, shows in key.shown.items()}
    for names, shows in ((card.element_ids, Presence.ABSENT), (card.exception_ids, Presence.PRESENT)):
        yield from ((texts.get(name, name), shows.value) for name in names if (name, shows) not in shown)
    variants = {key.variant for key in keyed}
    yield from ((variant.text, "as a variant") for variant in card.variants if variant.id not in variants)


def card_texts(card: RuleCard, shared: dict[str, str]) -> dict[str, str]:
    """Words of a card's elements and exceptions by id. Raises BadInput when it names a shared exception not here."""
    own = {each.id: each.text for each in card.elements} | {each.id: each.text for each in card.exceptions}
    for name in card.shared_exceptions:
        if name not in shared:
            raise BadInput(f'The card "{card.title}" names an exception "{name}" that is not here. Load it again.')
        own[name] = shared[name]
    return own
