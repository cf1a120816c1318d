"""Captions: a note in phrases of two lines at most, each on the frames at which it is said."""

from __future__ import annotations

from dataclasses import dataclass

from app.domain.timecode import Rate, Span

CUE_LENGTH = 84
"""Characters in one caption: two lines of 42."""
READING = 15
"""Characters a second that a caption may ask of its reader."""


@dataclass(frozen=True)
class Cue:
    """A caption: what is said, on which frames of the tape. `top`: something else stands at the foot meanwhile."""

    span: Span
    text: str
    top: bool = False


def frames_to_read(note: str, rate: Rate) -> int:
    """Frames that a reader needs for a note."""
    return -int(-len(note.strip()) * rate.fraction / READING // 1)


def cues_of(note: str, span: Span, *, top: bool = False) -> list[Cue]:
    """A note as captions over the frames of its step, each of two lines at most, timed by their share of the text."""
    texts = _phrases(note)
    if len(texts) > span.frames:  # more captions than frames: no word is lost, the last one is crowded
        texts = [*texts[: span.frames - 1], " ".join(texts[span.frames - 1 :])] if span.frames else []
    total = sum(len(text) for text in texts)
    cues, first, said = [], span.first, 0
    for rest, text in zip(range(len(texts) - 1, -1, -1), texts, strict=True):
        said += len(text)
        share = span.first + span.frames * said // total
        end = min(max(share, first + 1), span.end - rest)
        cues.append(Cue(Span(first=first, end=end), text, top))
        first = end
    return cues


def _phrases(note: str) -> list[str]:
    """Words gathered into captions; a full stop ends one early when it is at least half full."""
    phrases: list[str] = []
    current = ""
    for word in note.split():
        longer = f"{current} {word}".strip()
        if current and len(longer) > CUE_LENGTH:
            phrases.append(current)
            longer = word
        current = longer
        if current.endswith((".", "?", "!")) and len(current) >= CUE_LENGTH // 2:
            phrases.append(current)
            current = ""
    return [*phrases, current] if current else phrases
