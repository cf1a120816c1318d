"""What is taught and asked about: games, recordings, cards, clips, lessons, plans."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlmodel import Field

from app.store.tables.base import Table, document, instant


class GameRow(Table, table=True):
    """A game."""

    __tablename__ = "game"
    id: str = Field(primary_key=True)
    title: str
    on: date | None = None


class RecordingRow(Table, table=True):
    """A recording: what people said of it, and what became of its file.

    `state`: waiting, preparing, ready, refused. `original` and `prepared` are digests.
    """

    __tablename__ = "recording"
    id: str = Field(primary_key=True)
    game_id: str | None = Field(default=None, foreign_key="game.id", index=True)
    doc: dict[str, Any] = document()
    state: str = Field(index=True)
    reason: str = ""
    original: str | None = Field(default=None, index=True)
    prepared: str | None = None
    facts: dict[str, Any] = document()
    made_at: datetime = instant()


class ExceptionRow(Table, table=True):
    """An exception that several cards share."""

    __tablename__ = "shared_exception"
    id: str = Field(primary_key=True)
    doc: dict[str, Any] = document()


class CardRow(Table, table=True):
    """A rule card; several of one topic have dates apart."""

    __tablename__ = "card"
    topic: str = Field(primary_key=True)
    effective_from: date = Field(primary_key=True)
    doc: dict[str, Any] = document()


class ClipRow(Table, table=True):
    """A clip. `version` counts its edits; what an edit was stands in `clip_edit`."""

    __tablename__ = "clip"
    id: str = Field(primary_key=True)
    game_id: str | None = Field(default=None, foreign_key="game.id", index=True)
    doc: dict[str, Any] = document()
    version: int = 1
    is_archived: bool = False
    made_at: datetime = instant()


class ClipKeyRow(Table, table=True):
    """A clip's key for one topic, for searching; derived from the clip's document in the same change."""

    __tablename__ = "clip_key"
    clip_id: str = Field(primary_key=True, foreign_key="clip.id")
    topic: str = Field(primary_key=True, index=True)
    ruling: str
    must_get: bool


class ClipViewRow(Table, table=True):
    """Which recordings a clip is seen on; derived from the clip's document in the same change."""

    __tablename__ = "clip_view"
    clip_id: str = Field(primary_key=True, foreign_key="clip.id")
    recording_id: str = Field(primary_key=True, foreign_key="recording.id", index=True)


class ClipEditRow(Table, table=True):
    """One edit of a clip, appended: the whole document after it, who and when."""

    __tablename__ = "clip_edit"
    clip_id: str = Field(primary_key=True, foreign_key="clip.id")
    version: int = Field(primary_key=True)
    doc: dict[str, Any] = document()
    by: str
    at: datetime = instant()


class LessonRow(Table, table=True):
    """A lesson as it is being built."""

    __tablename__ = "lesson"
    id: str = Field(primary_key=True)
    series: str
    number: int
    title: str
    doc: dict[str, Any] = document()
    version: int = 1
    changed_at: datetime = instant()


class EditionRow(Table, table=True):
    """A published version of a lesson and its tape. `tape` is a digest, None while it is being made."""

    __tablename__ = "edition"
    lesson_id: str = Field(primary_key=True, foreign_key="lesson.id")
    number: int = Field(primary_key=True)
    doc: dict[str, Any] = document()
    changed: str = ""
    tape: str | None = None
    facts: dict[str, Any] = document()
    by: str
    made_at: datetime = instant()


class WatchRow(Table, table=True):
    """How far someone has watched an edition: seen stretches in whole frames, and where to go on.

    `began_at`: when they saw the first of it; not known of what was watched before that was kept.
    """

    __tablename__ = "watch"
    person_id: str = Field(primary_key=True, foreign_key="person.id")
    lesson_id: str = Field(primary_key=True, foreign_key="lesson.id")
    seen: list[Any] = document()
    at_frame: int = 0
    began_at: datetime | None = instant(default=None)
    changed_at: datetime = instant()


class PlanRow(Table, table=True):
    """A quiz plan."""

    __tablename__ = "quiz_plan"
    id: str = Field(primary_key=True)
    doc: dict[str, Any] = document()


class PolicyRow(Table, table=True):
    """A clearance policy."""

    __tablename__ = "policy"
    id: str = Field(primary_key=True)
    doc: dict[str, Any] = document()
