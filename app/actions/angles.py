"""The clips of a review: every view of a play, cut in step, and the pictures of its result from each of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from app.actions.job import Work
from app.adapters.phone import phone_cut
from app.domain.clip import Clip, Key, View, frame_in_view, instants_of
from app.domain.guard import Cut
from app.domain.quiz import QuizPlan
from app.domain.recording import Prepared, Recording
from app.domain.reviewing import angles_of, views_of
from app.store.quizzes import AngleCut
from app.store.recordings import RecordingFacts, RecordingState


@dataclass(frozen=True)
class Sources:
    """Recordings by id: what is known of them, and the picture of those that are ready."""

    facts: Mapping[str, RecordingFacts]

    @property
    def recordings(self) -> dict[str, Recording]:
        """Those that are not refused."""
        return {name: each.recording for name, each in self.facts.items() if each.state is not RecordingState.REFUSED}

    @property
    def prepared(self) -> dict[str, Prepared]:
        """Those that are ready."""
        return {name: each.prepared for name, each in self.facts.items() if each.prepared is not None}

    def views(self, plan: QuizPlan, clip: Clip) -> list[View]:
        """The views of a clip that a quiz shows: one in a live look, in a review all that may be seen."""
        if plan.look == "live":
            return list(clip.views[:1])
        return views_of(clip, {name: each.angle for name, each in self.recordings.items()}, plan.angles)


def cut_angles(work: Work, plan: QuizPlan, clip: Clip, cut: Cut, sources: Sources) -> tuple[AngleCut, ...]:
    """Cut every view of a clip for phones, in step with the cut of the first one."""
    ready = sources.prepared
    lengths = {name: each.frames for name, each in ready.items()}
    made = []
    for angle in angles_of(sources.views(plan, clip), cut, sources.recordings, lengths):
        source, shown = ready[angle.cut.recording], angle.cut.span
        digest = phone_cut(angle.cut, source.digest, source.house, work.library)
        made.append(
            AngleCut(
                recording=angle.cut.recording,
                label=angle.label,
                cut=digest,
                first=shown.first,
                shown=shown.frames,
                frames=angle.cut.frames,
                starts=angle.starts,
            )
        )
    return tuple(made)


def pictures_of(clip: Clip, key: Key, sources: Sources) -> Iterator[tuple[str, int]]:
    """Recording and frame of every picture that a review's result may show: each instant, from every view."""
    recordings = sources.recordings
    instants = {name: place for name, place in instants_of(clip).items() if name != "reveal"}
    for source, frame in {*instants.values(), (clip.views[0].recording, key.decisive)}:
        for view in clip.views:
            if source in recordings and view.recording in recordings:
                there = frame_in_view(frame, source, view.recording, recordings)
                if view.span.holds(there):
                    yield view.recording, there
