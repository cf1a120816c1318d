"""Parts of a clip's picture that quizzes do not show."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session

from app.actions.clip import mark_clip
from app.domain.clip import Hidden
from app.domain.errors import NotFound
from app.store.content import load_clip


def hide_part(session: Session, clip_id: str, part: Hidden, base: int, by: str, *, now: datetime) -> int:
    """Make one more part of a clip unreadable in quizzes that are published from now on; the clip's version.

    Raises NotFound; Misplaced when it reaches outside the picture; Conflict when the clip was changed since `base`.
    """
    clip, _ = load_clip(session, clip_id)
    return mark_clip(session, clip.model_copy(update={"hidden": (*clip.hidden, part)}), base, by, now=now)


def show_part(session: Session, clip_id: str, n: int, base: int, by: str, *, now: datetime) -> int:
    """Show a part again that was hidden, the `n`-th from 0. Raises NotFound; Conflict as `hide_part`."""
    clip, _ = load_clip(session, clip_id)
    if n >= len(clip.hidden):
        raise NotFound("Nothing is hidden there.")
    left = (*clip.hidden[:n], *clip.hidden[n + 1 :])
    return mark_clip(session, clip.model_copy(update={"hidden": left}), base, by, now=now)
