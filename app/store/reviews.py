"""What review looks keep beside their sittings: what was called on the field, and the cuts of every view."""

from __future__ import annotations

from typing import Any

from sqlmodel import Session, col, select

from app.domain.errors import NotFound
from app.domain.rulecard import Ruling
from app.store.quizzes import AngleCut, angles_kept
from app.store.tables import QuestionRow, QuizItemRow, SittingRow


def find_opening(session: Session, sitting_id: str, n: int) -> tuple[Ruling | None, tuple[AngleCut, ...]]:
    """What was called on the field in a look, None before it was opened; and the cuts of its views. Raises NotFound."""
    found = session.exec(_looks(QuestionRow.called, QuizItemRow).where(_is(sitting_id, n))).first()
    if found is None:
        raise NotFound("There is no such look.")
    called, item = found
    return None if called is None else Ruling(called), angles_kept(item)


def keep_called(session: Session, sitting_id: str, n: int, called: Ruling) -> None:
    """Keep what was called on the field in a look. Raises NotFound."""
    row = session.get(QuestionRow, (sitting_id, n))
    if row is None:
        raise NotFound("There is no such look.")
    row.called = called.value


def find_angle(session: Session, asset: str, k: int, person_id: str) -> str | None:
    """Digest of the cut of a view of a review look; None unless it is this person's, and was not decided yet."""
    query = _looks(QuizItemRow).where(
        QuestionRow.asset == asset,
        col(QuestionRow.state).in_(("ahead", "served")),
        SittingRow.person_id == person_id,
    )
    item = session.exec(query).first()
    angles = () if item is None else angles_kept(item)
    return angles[k].cut if k < len(angles) else None


def _is(sitting_id: str, n: int) -> Any:
    return (col(QuestionRow.sitting_id) == sitting_id) & (col(QuestionRow.n) == n)


def _looks(*wanted: Any) -> Any:
    """Looks with their sitting and their item."""
    return (
        select(*wanted)
        .select_from(QuestionRow)
        .join(SittingRow, col(SittingRow.id) == col(QuestionRow.sitting_id))
        .join(
            QuizItemRow,
            (col(QuizItemRow.quiz_id) == col(SittingRow.quiz_id)) & (col(QuizItemRow.n) == col(QuestionRow.item)),
        )
    )
