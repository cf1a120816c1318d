"""Quizzes, sittings, answers with their reasons, and what follows from them. Facts are appended."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlmodel import JSON, Field

from app.store.tables.base import Table, document, instant


class QuizRow(Table, table=True):
    """A published quiz. `doc` holds what was asked for (topics, seconds, look); it never changes after publishing.

    `is_archived`: recorded elsewhere or made up for the demo; nobody can sit it here.
    """

    __tablename__ = "quiz"
    id: str = Field(primary_key=True)
    title: str
    doc: dict[str, Any] = document()
    due_at: datetime | None = instant(default=None)
    is_archived: bool = False
    by: str
    made_at: datetime = instant()


class QuizItemRow(Table, table=True):
    """A clip in a quiz, asked for one topic. `side`: its ruling when published; `cut`: digest of the phone cut.

    `form`: which of the equal forms of the quiz asks it, from 0; spares stand by for all of them. `angles`: the cuts of
    all views, where it is asked in review.
    """

    __tablename__ = "quiz_item"
    quiz_id: str = Field(primary_key=True, foreign_key="quiz.id")
    n: int = Field(primary_key=True)
    clip_id: str = Field(foreign_key="clip.id", index=True)
    topic: str
    side: str
    is_spare: bool = False
    form: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
    cut: str | None = None
    angles: list[Any] = Field(default_factory=list, sa_type=JSON, sa_column_kwargs={"server_default": "[]"})
    facts: dict[str, Any] = document()


class AssignmentRow(Table, table=True):
    """Who is to sit a quiz or watch a lesson, and by when. `kind`: quiz, lesson. `form`: which form of the quiz."""

    __tablename__ = "assignment"
    kind: str = Field(primary_key=True)
    noun_id: str = Field(primary_key=True)
    person_id: str = Field(primary_key=True, foreign_key="person.id", index=True)
    due_at: datetime | None = instant(default=None)
    form: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
    made_at: datetime = instant()


class SittingRow(Table, table=True):
    """One official's run through a quiz."""

    __tablename__ = "sitting"
    id: str = Field(primary_key=True)
    quiz_id: str = Field(foreign_key="quiz.id", index=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    seed: int
    asked: int
    began_at: datetime = instant()
    ended_at: datetime | None = instant(default=None)


class QuestionRow(Table, table=True):
    """One look of a sitting. `item` is the quiz item's number. Served at most once; spares stand after the planned.

    `state`: ahead, served, decided, void. `asks_all`: the whole element question instead of one tap. `called`: what was
    called on the field, of a review look that has been opened.
    """

    __tablename__ = "question"
    sitting_id: str = Field(primary_key=True, foreign_key="sitting.id")
    n: int = Field(primary_key=True)
    item: int
    asset: str = Field(unique=True)
    asks_all: bool
    state: str = "ahead"
    called: str | None = None
    nonce: str | None = None
    served_at: datetime | None = instant(default=None)


class AnswerRow(Table, table=True):
    """A decision, appended once. `verdict` is that of its timing; what it is worth is never stored but computed.

    `found`: what a review look asks besides: the outcome of the review, the frame that was named.
    """

    __tablename__ = "answer"
    sitting_id: str = Field(primary_key=True, foreign_key="sitting.id")
    n: int = Field(primary_key=True)
    person_id: str = Field(index=True)
    clip_id: str = Field(index=True)
    topic: str
    decision: str | None
    verdict: str
    claimed: dict[str, Any] = document()
    found: dict[str, Any] = Field(default_factory=dict, sa_type=JSON, sa_column_kwargs={"server_default": "{}"})
    idempotency: str
    received_at: datetime = instant()


class ReasonRow(Table, table=True):
    """Why someone decided as they did, appended once, after the decision. `doc`: element or exception -> presence.

    `second_answer`: what else the card asks (direction, restart).
    """

    __tablename__ = "reason"
    sitting_id: str = Field(primary_key=True, foreign_key="sitting.id")
    n: int = Field(primary_key=True)
    doc: dict[str, Any] = document()
    is_whole: bool
    second_answer: str | None = None
    received_at: datetime = instant()


class DisagreementRow(Table, table=True):
    """An official does not agree with an answer. `state`: open, answered."""

    __tablename__ = "disagreement"
    id: int | None = Field(default=None, primary_key=True)
    sitting_id: str = Field(foreign_key="sitting.id")
    n: int
    person_id: str = Field(foreign_key="person.id", index=True)
    clip_id: str
    text: str
    state: str = "open"
    reply: str = ""
    made_at: datetime = instant()
    closed_at: datetime | None = instant(default=None)


class SignOffRow(Table, table=True):
    """A supervisor signs someone off on a topic by name, with grounds; it never looks like a clearance."""

    __tablename__ = "sign_off"
    id: int | None = Field(default=None, primary_key=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    topic: str
    by: str
    grounds: str
    on: date
    withdrawn_on: date | None = None
