"""What people say of recordings when they bring them or correct them: game, angle, who may see them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pydantic import Field, ValidationInfo, field_validator
from starlette.datastructures import UploadFile

from app.actions.intake import new_game
from app.domain.recording import Game, Recording
from app.web.forms import Day, Form
from app.web.ids import is_id

SEE = Recording.model_fields["see"].default
"""Who may see a recording where nobody says anything else."""

NO_GAME = "none"
SAID = {"angle", "see", "until", "download", "injury", "consent"}
"""What is said of a recording beside its game."""


class DetailsForm(Form):
    """All but the file. `game`: the id of one, or `none`; `new_game` names one that is not there yet."""

    game: str = Field(default="", max_length=80)
    new_game: str = Field(default="", max_length=200, validate_default=True)
    played_on: Day | None = None
    angle: str = Field(max_length=120)
    see: str = Field(default=SEE, max_length=300)
    until: Day | None = None
    download: bool = False
    injury: bool = False
    consent: str = Field(default="", max_length=1000)

    @field_validator("game")
    @classmethod
    def _a_name(cls, value: str) -> str:
        if value and not is_id(value):
            raise ValueError("Choose one of those offered.")
        return value

    @field_validator("new_game")
    @classmethod
    def _one_game(cls, value: str, info: ValidationInfo) -> str:
        if info.data.get("game") and value:
            raise ValueError("Choose a game that is here or name a new one, not both.")
        if not (info.data.get("game") or value):
            raise ValueError("Choose a game that is here, or name a new one.")
        return value

    def new(self) -> Game | None:
        """The game that is not there yet, with an id of its own."""
        return new_game(self.new_game, self.played_on) if self.new_game else None

    def recording(self, recording_id: str, file: str, new: Game | None, **kept: Any) -> Recording:
        """The recording that this says something of; `kept` is what the form does not ask for."""
        game = new.id if new is not None else None if self.game == NO_GAME else self.game
        said = self.model_dump(include=SAID)
        return Recording(id=recording_id, file=file, game=game, **said, **kept)


class UploadForm(DetailsForm):
    """Files that come with what is said of them."""

    files: list[UploadFile]

    @field_validator("files")
    @classmethod
    def _some(cls, value: list[UploadFile]) -> list[UploadFile]:
        chosen = [each for each in value if each.filename]
        if not chosen:
            raise ValueError("Choose one file or several.")
        return chosen


def typed_of(recording: Recording) -> Mapping[str, Any]:
    """A recording as it stands in the form."""
    shown = recording.model_dump(mode="json", include=SAID, exclude_none=True)
    return {**shown, "game": recording.game or NO_GAME}


def file_label(name: str | None) -> str:
    """What a browser calls a file, as a label: the last part of its path, without what cannot be printed."""
    last = re.split(r"[/\\]", name or "")[-1]
    printable = "".join(letter for letter in last if letter.isprintable()).strip()
    return printable.encode("utf-8", "replace").decode()[:200] or "recording"
