"""The one base of all values that come from outside: frozen, strict about unknown keys."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

Id = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=80)]
"""A name for files and links: lower-case words, digits and single hyphens."""

Words = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000)]
"""Text a person reads: not empty, no blanks around it."""


class Value(BaseModel):
    """A frozen value. Unknown keys are errors, because a mistyped key would otherwise be lost without a word."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
