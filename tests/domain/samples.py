"""A small curriculum for tests: two cameras of one game, three clips, one lesson."""

from __future__ import annotations

from typing import Any

from app.domain.curriculum import Curriculum

CARD: dict[str, Any] = {
    "id": "offside",
    "title": "Offside",
    "offence": "Beyond the line, and then in the play.",
    "source": "Made for the test",
    "elements": [
        {"id": "past-second-last", "text": "Nearer the goal line than the second-last opponent"},
        {"id": "involved", "text": "Then in the play", "when": "any time before"},
    ],
    "exceptions": [{"id": "opponent-plays-it", "text": "An opponent deliberately plays it"}],
    "shared_exceptions": ["direct-from-restart"],
    "variants": [{"id": "level", "text": "Level"}],
}


def clip(name: str = "offside-01", **changes: Any) -> dict[str, Any]:
    """A clip in the words of the text files."""
    base: dict[str, Any] = {
        "id": name,
        "title": f"Play {name}",
        "game": "g1",
        "views": [{"recording": "line", "in": 30, "out": 210}, {"recording": "high", "in": 40, "out": 200}],
        "keys": [
            {
                "topic": "offside",
                "ruling": "flag",
                "decisive": 100,
                "findings": [
                    {"of": "past-second-last", "shows": "present", "frame": 100, "view": "line"},
                    {"of": "involved", "shows": "present", "frame": 150, "view": "high"},
                    {"of": "opponent-plays-it", "shows": "absent"},
                    {"of": "direct-from-restart", "shows": "absent"},
                ],
            }
        ],
        "reveal": 180,
    }
    return base | changes


def curriculum_data(**changes: Any) -> dict[str, Any]:
    """Everything, as plain data."""
    base: dict[str, Any] = {
        "about": {
            "id": "test-league",
            "title": "A test",
            "league": "Saltmarsh Coast League",
            "sport": "Association football",
            "rule_book": "Made for the test",
            "caution": "The rule book governs.",
            "house": {"width": 320, "height": 180, "rate": "30"},
        },
        "positions": [{"id": "assistant-1", "title": "Assistant", "view": {"offside": "first"}}],
        "crews": [{"id": "heron", "title": "Heron", "members": [{"name": "Ada Quill", "position": "assistant-1"}]}],
        "games": [{"id": "g1", "title": "Gullwick v Sandrey", "on": "2026-03-01"}],
        "recordings": [
            {"id": "line", "file": "line.mp4", "angle": "line", "game": "g1"},
            {"id": "high", "file": "high.mp4", "angle": "high", "game": "g1", "offset": 12},
        ],
        "exceptions": [{"id": "direct-from-restart", "text": "Direct from a throw-in"}],
        "cards": [CARD],
        "clips": [clip(), clip("offside-02", looks_like="offside-01")],
        "lessons": [
            {
                "id": "two-instants",
                "series": "Offside",
                "number": 1,
                "title": "Two instants",
                "topics": ["offside"],
                "steps": [
                    {"kind": "title", "title": "Two instants", "note": "Look twice."},
                    {"kind": "run", "clip": "offside-01", "note": "At full speed first."},
                    {"kind": "run", "clip": "offside-01", "from": 80, "to": "decisive", "speed": "1/4"},
                    {"kind": "freeze", "clip": "offside-01", "at": "involved", "frames": 60, "chapter": "Then"},
                ],
            }
        ],
        "quiz_plans": [{"id": "first", "title": "First check", "topics": ["offside"], "crews": ["heron"]}],
        "policies": [{"id": "standard", "title": "Standard", "topics": ["offside"]}],
    }
    return base | changes


def curriculum(**changes: Any) -> Curriculum:
    """The same as a value."""
    return Curriculum.model_validate(curriculum_data(**changes))
