"""Who was looking a moment ago: an evening of looks asks for the same few people again and again.

What is kept is believed for some seconds, and only while nothing has been changed by this process since: signing a
device out, another role, another crew act at once. A change that another process makes, such as the command line,
acts when the seconds are over.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

from app.web.viewer import Viewer

BELIEVED_S = 3.0
MOST = 2000


@dataclass(frozen=True)
class _Kept:
    viewer: Viewer
    changes: int
    until: float


class Recent:
    """Viewers by the digest of their device's token. Guests are not kept: anybody can invent a token."""

    def __init__(self) -> None:
        self._kept: dict[str, _Kept] = {}

    def find(self, device: str, changes: int) -> Viewer | None:
        """Who is behind a device, if that was read lately and as many changes had been made by then."""
        kept = self._kept.get(device)
        if kept is None or kept.changes != changes or kept.until < time.monotonic():
            return None
        return kept.viewer

    def keep(self, viewer: Viewer, changes: int) -> None:
        """Keep a viewer. `changes`: the number of changes before the viewer was read, not after."""
        if len(self._kept) >= MOST:
            self._kept.clear()
        self._kept[viewer.device] = _Kept(viewer, changes, time.monotonic() + BELIEVED_S)
