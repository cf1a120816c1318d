"""Recordings: what people said of each, what became of its file, and what is seen on it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlmodel import Session, col, func, select

from app.domain.clip import Clip
from app.domain.errors import Conflict, NotFound
from app.domain.recording import Prepared, Recording
from app.store.content import clips_by_id, plain
from app.store.tables import ClipViewRow, RecordingRow


class RecordingState(StrEnum):
    """How far a recording is. `REFUSED`: its file cannot be used, and the reason is known."""

    WAITING = "waiting"
    PREPARING = "preparing"
    READY = "ready"
    REFUSED = "refused"


@dataclass(frozen=True)
class RecordingFacts:
    """A recording as it is stored.

    `reason`: why it was refused. `original`: digest of the received file. `prepared`: what was made of it, where it is
    ready. `bytes`: what it takes on the disk. `by`: id of the person who brought it, or `system`.
    `step`: how it was put in step with the others of its game, in words. `prepared_at`: when it became ready, where
    that was written down; `original_gone_at`: when the file as it came was removed, None while it is kept.
    """

    recording: Recording
    state: RecordingState
    reason: str
    original: str | None
    prepared: Prepared | None
    bytes: int
    by: str
    made_at: datetime
    step: str = ""
    prepared_at: datetime | None = None
    original_gone_at: datetime | None = None

    @property
    def id(self) -> str:
        """The recording's id."""
        return self.recording.id

    @property
    def is_ready(self) -> bool:
        """Whether it has a picture that can be shown and cut."""
        return self.prepared is not None


def add_recording(session: Session, recording: Recording, by: str, now: datetime, *, size: int = 0) -> None:
    """Keep a new recording, whose file of `size` bytes is yet to be prepared. Raises Conflict when there is one."""
    if session.get(RecordingRow, recording.id) is not None:
        raise Conflict(f'There is a recording "{recording.id}" already.')
    row = RecordingRow(
        id=recording.id,
        game_id=recording.game,
        doc=plain(recording),
        state=RecordingState.WAITING.value,
        facts={"bytes": size, "by": by},
        made_at=now,
    )
    session.add(row)
    session.flush()


def set_recording_state(session: Session, recording_id: str, state: RecordingState, reason: str = "") -> None:
    """Note how far a recording is; one that has no picture takes no room. Raises NotFound."""
    row = _row(session, recording_id)
    row.state, row.reason = state.value, reason
    if state is RecordingState.REFUSED:
        row.facts = {**row.facts, "bytes": 0}


def describe_recording(session: Session, recording: Recording) -> None:
    """Keep what people say of a recording in place of what they said before. Raises NotFound."""
    row = _row(session, recording.id)
    row.doc, row.game_id = plain(recording), recording.game


def set_prepared(
    session: Session, recording_id: str, original: str, prepared: Prepared, size: int, at: datetime | None = None
) -> None:
    """A recording is ready: digest of its file, what was made of it, bytes of both, since when. Raises NotFound."""
    row = _row(session, recording_id)
    row.state, row.reason = RecordingState.READY.value, ""
    row.original, row.prepared = original, prepared.digest
    since = {} if at is None else {"prepared_at": at.isoformat()}
    row.facts = {**row.facts, **since, "bytes": size, "prepared": prepared.model_dump(mode="json")}


def note_original_gone(session: Session, recording_id: str, size: int, at: datetime) -> None:
    """The file as it came was removed at an instant, and `size` bytes of the recording are left. Raises NotFound."""
    row = _row(session, recording_id)
    row.facts = {**row.facts, "bytes": size, "original_gone_at": at.isoformat()}


def note_step(session: Session, recording_id: str, words: str) -> None:
    """Keep how a recording was put in step with the others of its game, or why it could not be. Raises NotFound."""
    row = _row(session, recording_id)
    row.facts = {**row.facts, "step": words}


def remove_recording(session: Session, recording_id: str) -> None:
    """Forget a recording. Raises NotFound; Conflict when it is ready, because clips may show it."""
    row = _row(session, recording_id)
    if row.state == RecordingState.READY:
        raise Conflict("This recording is ready to be used; only what could not be used is removed here.")
    session.delete(row)


def load_recording(session: Session, recording_id: str) -> RecordingFacts:
    """A recording. Raises NotFound."""
    return _facts(_row(session, recording_id))


def find_by_original(session: Session, digest: str) -> RecordingFacts | None:
    """The ready recording that came from a file with this digest; None when there is none."""
    ready = select(RecordingRow).where(RecordingRow.original == digest)
    row = session.exec(ready.where(RecordingRow.state == RecordingState.READY.value)).first()
    return None if row is None else _facts(row)


def list_recordings(session: Session) -> list[RecordingFacts]:
    """All recordings in the order in which they came."""
    rows = session.exec(select(RecordingRow).order_by(col(RecordingRow.made_at), RecordingRow.id))
    return [_facts(row) for row in rows]


def recordings_by_id(session: Session, ids: Iterable[str]) -> dict[str, RecordingFacts]:
    """Recordings of these ids; unknown ids are left out."""
    rows = session.exec(select(RecordingRow).where(col(RecordingRow.id).in_(set(ids))))
    return {row.id: _facts(row) for row in rows}


def prepared_of(session: Session, ids: Iterable[str]) -> dict[str, Prepared]:
    """Id of a recording -> its prepared picture, of those among these that are ready."""
    found = recordings_by_id(session, ids)
    return {each: facts.prepared for each, facts in found.items() if facts.prepared is not None}


def clips_on(session: Session, recording_id: str) -> list[Clip]:
    """Clips that are seen on a recording, in the order in which they happen on it."""
    names = session.exec(select(ClipViewRow.clip_id).where(ClipViewRow.recording_id == recording_id))
    clips = clips_by_id(session, names).values()
    return sorted(clips, key=lambda clip: (_first_frame(clip, recording_id), clip.id))


def count_clips_on(session: Session) -> dict[str, int]:
    """Id of a recording -> how many clips are seen on it; recordings without clips are left out."""
    query = select(ClipViewRow.recording_id, func.count()).group_by(ClipViewRow.recording_id)
    return dict(session.exec(query).all())


def _first_frame(clip: Clip, recording_id: str) -> int:
    return min((view.span.first for view in clip.views if view.recording == recording_id), default=0)


def _row(session: Session, recording_id: str) -> RecordingRow:
    row = session.get(RecordingRow, recording_id)
    if row is None:
        raise NotFound("There is no such recording.")
    return row


def _facts(row: RecordingRow) -> RecordingFacts:
    facts: dict[str, Any] = row.facts
    return RecordingFacts(
        recording=Recording.model_validate(row.doc),
        state=RecordingState(row.state),
        reason=row.reason,
        original=row.original,
        prepared=Prepared.model_validate(facts["prepared"]) if "prepared" in facts else None,
        bytes=facts.get("bytes", 0),
        by=facts.get("by", "system"),
        made_at=row.made_at,
        step=facts.get("step", ""),
        prepared_at=_instant(facts.get("prepared_at")),
        original_gone_at=_instant(facts.get("original_gone_at")),
    )


def _instant(text: str | None) -> datetime | None:
    """An instant of a row's facts in the zone of the server, as instants of columns are."""
    return None if text is None else datetime.fromisoformat(text).astimezone()
