"""Ids in addresses: whatever cannot be one names nothing, and so is not found, before any database sees it."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import Path
from pydantic import AfterValidator, TypeAdapter, ValidationError

from app.domain.base import Id
from app.domain.errors import NotFound

_ID = TypeAdapter[str](Id)


def is_id(text: str) -> bool:
    """Whether a text has the form of an id."""
    try:
        _ID.validate_python(text)
    except ValidationError:
        return False
    return True


def known_form(text: str) -> str:
    """The text, if it has the form of an id. Raises NotFound."""
    if not is_id(text):
        raise NotFound("There is no such page.")
    return text


NamedId = Annotated[str, AfterValidator(known_form)]
"""A path parameter that is an id."""

_RANDOM = re.compile(r"[A-Za-z0-9_-]{1,64}")


def random_form(text: str) -> str:
    """The text, if it has the form of a random id. Raises NotFound."""
    if _RANDOM.fullmatch(text) is None:
        raise NotFound("There is no such page.")
    return text


RandomId = Annotated[str, AfterValidator(random_form)]
"""A path parameter that was drawn at random: of a quiz, a sitting, a clip's cut."""

LookNumber = Annotated[int, Path(ge=0, le=999)]
"""The place of a look within its check, from 0."""
