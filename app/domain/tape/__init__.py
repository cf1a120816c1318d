"""A lesson lowered to media work: pieces in order (`pieces`), captions (`captions`), and the plan that holds them.

Tape frame k is shown from k/rate on. Sound is cut by sample at the same instants, so that nothing ever adds up.
"""

from app.domain.tape.captions import CUE_LENGTH, Cue, cues_of, frames_to_read
from app.domain.tape.pieces import Card, Half, Piece, Shot, SideBySide, Still, Window, segment_digest
from app.domain.tape.planning import (
    SAMPLE_RATE,
    Chapter,
    Plan,
    Spoken,
    Voice,
    frames_of,
    frames_to_hear,
    plan,
    recordings_of,
    samples_at,
    voices_of,
)

__all__ = [
    "CUE_LENGTH",
    "SAMPLE_RATE",
    "Card",
    "Chapter",
    "Cue",
    "Half",
    "Piece",
    "Plan",
    "Shot",
    "SideBySide",
    "Spoken",
    "Still",
    "Voice",
    "Window",
    "cues_of",
    "frames_of",
    "frames_to_hear",
    "frames_to_read",
    "plan",
    "recordings_of",
    "samples_at",
    "segment_digest",
    "voices_of",
]
