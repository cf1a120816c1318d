"""What stands around the field. (Sky first.)"""

from __future__ import annotations

from sample_clips.simulator.panels import Panel
from sample_clips.simulator.scene import Scene


def surroundings_of(scene: Scene) -> list[Panel]:
    """Panels from the furthest to the nearest."""
    return []
