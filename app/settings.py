"""Everything that the environment decides, read once by the entry files. Every setting has a working default."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Settings:
    """What a Pennon is started with.

    data: folder of all that is kept (PENNON_DATA). house: size and rate of prepared pictures where no curriculum
    says so, as WIDTHxHEIGHT@RATE (PENNON_HOUSE).
    """

    data: Path
    house: str

    @classmethod
    def from_env(cls, environment: Mapping[str, str] = os.environ) -> Settings:
        """Settings from the environment; what is not set has its default."""
        home = Path(environment.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
        return cls(
            data=Path(environment.get("PENNON_DATA") or home / "pennon"),
            house=environment.get("PENNON_HOUSE") or "1280x720@30",
        )
