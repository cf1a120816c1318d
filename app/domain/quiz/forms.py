"""Clips for a quiz: one form or several that are equally hard, drawn by the solver; or in words what is missing.

What the plan asks for must hold. Beside it the draw is *fair* where the clips allow it: each topic has both sides, each
deciding point comes up, angles and difficulty are alike between the forms. What they do not allow gives way.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from app.domain.errors import BadInput
from app.domain.quiz.plan import QuizPlan
from app.domain.rulecard import Ruling
from app.measure import forms as measure

SPARES = 2
"""Clips per side and topic that stand by for looks that a phone could not play."""
TIME_LIMIT = 20.0
"""Seconds that a draw may take; what has been found by then is taken."""
LONG = 1500
"""Clips times forms from which a draw may take more than a second (measured: 8 forms of 500 clips take two)."""
ALIKE, NEAR = 0.1, 0.25
"""Logits: how far the mean difficulty of a form may be from that of all, and from the standard where that is asked."""


@dataclass(frozen=True, order=True)
class Candidate:
    """A clip that may be asked about for a topic. `seen`: in how many quizzes it has been; `feature`: what decides it.

    `angle`: from where it is seen. `b`: how hard it is, in logits, None where too few have answered. `barred`: forms
    that may not ask it, because somebody who gets them has seen it.
    """

    topic: str
    side: Ruling
    clip: str
    seen: int = 0
    feature: str = ""
    angle: str = ""
    b: float | None = None
    barred: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Drawn:
    """The clips of a quiz: those of each form, and spares for looks that could not be played.

    `report`: how alike the forms are, None where no clip's difficulty is known. `gave_way`: what could not be had.
    """

    forms: tuple[tuple[Candidate, ...], ...]
    spares: tuple[Candidate, ...]
    report: measure.ParallelReport | None = None
    gave_way: tuple[str, ...] = ()


@dataclass(frozen=True)
class Wording:
    """How shortages are told. `titles`: of topics; `unseen`: what is said of clips that are left out for being seen."""

    titles: Mapping[str, str] = field(default_factory=dict)
    unseen: str = ""


def takes_long(plan: QuizPlan, candidates: Sequence[Candidate]) -> bool:
    """Whether a draw may take more than about a second."""
    return plan.forms * len(candidates) > LONG


# --------------------------------------------------------------------------------- the draw


def drawn(
    plan: QuizPlan,
    candidates: Iterable[Candidate],
    seed: int,
    *,
    cut: float = 0.0,
    wording: Wording | None = None,
    time_limit: float = TIME_LIMIT,
) -> Drawn:
    """Draw the forms of a quiz: topics as even as can be, sides within the plan's share, the least used clips first.

    The same seed draws the same. `cut`: the ability in logits that just meets the standard. Raises BadInput that says
    in words which clips are missing, or what would have to give.
    """
    pool = _pool(plan, candidates)
    said = shortages(plan, pool, wording)
    if said:
        raise BadInput(" ".join(said))
    bank, barred = _bank(pool), _barred(plan, pool)
    asked = _asked(plan, pool, cut)
    for blueprint, gave_way in _rungs(plan, pool, asked):
        if not measure.supply_check(bank, blueprint, barred):
            found = measure.solve(measure.build(bank, blueprint, barred), time_limit / 3, seed=seed)
            if isinstance(found, measure.Forms):
                return _drawn(plan, pool, found, seed, gave_way)
    raise BadInput(_stuck(measure.build(bank, asked, barred), wording or Wording(), time_limit))


def _pool(plan: QuizPlan, candidates: Iterable[Candidate]) -> list[Candidate]:
    """What may be drawn, in a fixed order: each clip for one topic, and of one that is known where that is asked for.

    A clip that stands for several topics goes to the one that has fewest clips.
    """
    listed = sorted(
        {each for each in candidates if each.topic in plan.topics}, key=lambda each: (each.clip, each.topic)
    )
    counts = Counter(each.topic for each in listed)
    chosen: dict[str, Candidate] = {}
    for each in listed:
        other = chosen.get(each.clip)
        if other is None or counts[each.topic] < counts[other.topic]:
            chosen[each.clip] = each
    pool = [chosen[clip] for clip in sorted(chosen)]
    return _known(pool) if by_difficulty(plan, pool) else pool


def by_difficulty(plan: QuizPlan, pool: Iterable[Candidate]) -> bool:
    """Whether the plan asks for hard clips and enough are known to be chosen from."""
    return plan.difficulty != "any" and len(_known(pool)) >= plan.clips * plan.forms


def _known(pool: Iterable[Candidate]) -> list[Candidate]:
    return [each for each in pool if each.b is not None]


def _bank(pool: Sequence[Candidate]) -> list[measure.Item]:
    """The pool as the solver takes it; a clip of unknown difficulty is taken for one as hard as the mean."""
    known = [each.b for each in pool if each.b is not None]
    mean = sum(known) / len(known) if known else 0.0
    return [
        measure.Item(
            id=each.clip,
            topic=each.topic,
            positive=each.side is Ruling.FLAG,
            feature=each.feature,
            angle=each.angle,
            source=each.clip,
            b=mean if each.b is None else each.b,
            exposure=each.seen,
        )
        for each in pool
    ]


def _barred(plan: QuizPlan, pool: Iterable[Candidate]) -> dict[int, list[str]]:
    return {form: [each.clip for each in pool if form in each.barred] for form in range(plan.forms)}


def _drawn(
    plan: QuizPlan, pool: Sequence[Candidate], found: measure.Forms, seed: int, gave_way: tuple[str, ...]
) -> Drawn:
    chance, by_clip = random.Random(seed), {each.clip: each for each in pool}
    forms = tuple(_shuffled((by_clip[item.id] for item in form), chance) for form in found.forms)
    used = {each.clip for form in forms for each in form}
    left: dict[tuple[str, Ruling], list[Candidate]] = {}
    for each in _shuffled((each for each in pool if each.clip not in used and not each.barred), chance):
        left.setdefault((each.topic, each.side), []).append(each)
    spares = (each for where in sorted(left) for each in sorted(left[where], key=lambda one: one.seen)[:SPARES])
    known = all(each.b is not None for form in forms for each in form)
    report = measure.parallel_report(found) if known else None
    if plan.difficulty != "any" and not by_difficulty(plan, pool):
        gave_way = ("how hard the clips are", *gave_way)
    return Drawn(forms, tuple(spares), report, gave_way)


def _shuffled(items: Iterable[Candidate], chance: random.Random) -> tuple[Candidate, ...]:
    shuffled = list(items)
    chance.shuffle(shuffled)
    return tuple(shuffled)


# --------------------------------------------------------------------------------- what is asked of the solver


def _asked(plan: QuizPlan, pool: Sequence[Candidate], cut: float = 0.0) -> measure.Blueprint:
    """What the plan says, and nothing beyond it."""
    no_flags = plan.possible_no_flags()
    hard = by_difficulty(plan, pool)
    return measure.Blueprint(
        forms=plan.forms,
        topics=_allotted(plan, pool),
        positives=(plan.clips - max(no_flags), plan.clips - min(no_flags)),
        topic_positives=(0, plan.clips),
        per_source=1,
        feature_once=False,
        cover=False,
        cap=plan.shared,
        cut=cut,
        mean_b=cut if hard else None,
        tau=NEAR if hard else None,
        tau_info=None,
    )


def _rungs(
    plan: QuizPlan, pool: Sequence[Candidate], asked: measure.Blueprint
) -> Iterator[tuple[measure.Blueprint, tuple[str, ...]]]:
    """From the fairest draw down to what the plan says alone, each with what gives way in it."""
    least = min(count for count in asked.topics.values() if count)
    both = replace(asked, topic_positives=(1, plan.clips - 1)) if least > 1 else asked
    alike = both
    if plan.forms > 1:
        tau = asked.tau if asked.tau is not None or not _known(pool) else ALIKE
        alike = replace(both, angles=_angles(plan, pool), tau=tau)
    yield replace(alike, cover=True), ()
    yield alike, ("that each deciding point comes up",)
    if plan.forms > 1:
        yield both, ("that each deciding point comes up", "that all forms have the same angles and are equally hard")
    yield asked, ("that each topic has clips with a flag and without", *_unlike(plan))


def _unlike(plan: QuizPlan) -> tuple[str, ...]:
    return ("that all forms have the same angles and are equally hard",) if plan.forms > 1 else ()


def _angles(plan: QuizPlan, pool: Sequence[Candidate]) -> dict[str, tuple[int, int]]:
    """For each angle its share of the pool, and one more or less: as near as forms can be without being the same."""
    counts = Counter(each.angle for each in pool)
    fair = {angle: round(plan.clips * count / len(pool)) for angle, count in counts.items()}
    return {angle: (max(0, many - 1), many + 1) for angle, many in sorted(fair.items())}


Rooms = dict[tuple[str, Ruling], int]


def _allotted(plan: QuizPlan, pool: Sequence[Candidate]) -> dict[str, int]:
    """Clips of each topic in a form: as even as the clips of both sides allow.

    Where they do not suffice, or a topic has none at all, the even share, so that it can be told what is missing.
    """
    rooms = {(topic, side): _room(plan, pool, topic, side) for topic in plan.topics for side in Ruling}
    options = [_filled(plan, rooms, no_flags) for no_flags in plan.possible_no_flags()]
    full = [counts for counts in options if sum(counts.values()) == plan.clips]
    if not full or not all(rooms[topic, Ruling.FLAG] + rooms[topic, Ruling.NO_FLAG] for topic in plan.topics):
        share, more = divmod(plan.clips, len(plan.topics))
        return {topic: share + (n < more) for n, topic in enumerate(plan.topics)}
    return min(full, key=lambda counts: max(counts.values()) - min(counts.values()))


def _filled(plan: QuizPlan, rooms: Rooms, no_flags: int) -> dict[str, int]:
    """Clips of each topic when so many have no flag, one at a time to the topic that has fewest and room for one."""
    wanted = {Ruling.NO_FLAG: no_flags, Ruling.FLAG: plan.clips - no_flags}
    counts, taken = dict.fromkeys(plan.topics, 0), dict.fromkeys(rooms, 0)
    scarce_first = sorted(Ruling, key=lambda side: sum(rooms[topic, side] for topic in plan.topics))
    for side in [each for each in scarce_first for _ in range(wanted[each])]:
        open_ = [topic for topic in plan.topics if taken[topic, side] < rooms[topic, side]]
        if open_:
            topic = min(open_, key=lambda topic: counts[topic])
            taken[topic, side] += 1
            counts[topic] += 1
    return counts


def _room(plan: QuizPlan, pool: Sequence[Candidate], topic: str, side: Ruling) -> int:
    """How many clips of a topic and side each form can have."""
    mine = [each for each in pool if (each.topic, each.side) == (topic, side)]
    worst = min(sum(form not in each.barred for each in mine) for form in range(plan.forms))
    anywhere = sum(len(each.barred) < plan.forms for each in mine)
    return min(worst, anywhere * plan.shared // plan.forms)


# --------------------------------------------------------------------------------- in words


def shortages(plan: QuizPlan, candidates: Iterable[Candidate], wording: Wording | None = None) -> list[str]:
    """Sentences on what is missing, as counting shows it; an empty list does not promise that there are forms."""
    pool, wording = _pool(plan, candidates), wording or Wording()
    blueprint = _asked(plan, pool)
    found = measure.supply_check(_bank(pool), blueprint, _barred(plan, pool))
    none = [each for each in found if each.group == "length" and not each.have]
    some = [each for each in found if each.group == "positives" or (each.group == "topics" and len(plan.topics) > 1)]
    told = none or some or [each for each in found if each.group == "length"]
    return list(dict.fromkeys(_sentence(each, plan, blueprint, wording) for each in told))


def _sentence(short: measure.Shortage, plan: QuizPlan, blueprint: measure.Blueprint, wording: Wording) -> str:
    """`Offside needs 6 clips without a flag that these crews have not seen since 1 May; there are 4.`"""
    side = {"positives": " with a flag", "negatives": " without a flag"}.get(short.what, "")
    topic = short.what if short.group == "topics" else plan.topics[0] if len(plan.topics) == 1 else ""
    who = wording.titles.get(topic, topic) or "This quiz"
    for_ = "" if short.form is None or plan.forms == 1 else f" in form {letter(short.form)}"
    least, most = blueprint.positives
    each = {"positives": least, "negatives": plan.clips - most, "items": plan.clips}
    for_ = " for all its forms" if short.need > each.get(short.what, blueprint.topics.get(topic, 0)) else for_
    clips, is_ = "clip" if short.need == 1 else "clips", "is" if short.have < 2 else "are"
    return f"{who} needs {short.need} {clips}{side}{wording.unseen}{for_}; there {is_} {short.have or 'none'}."


def letter(form: int) -> str:
    """The name of a form on pages: A, B, C."""
    return chr(ord("A") + form)


def _stuck(model: measure.Model, wording: Wording, time_limit: float) -> str:
    """What would have to give, in words: the dearest of each group."""
    found = measure.explain_infeasible(model, time_limit)
    if not found:
        return f"No forms were found in {time_limit:.0f} seconds. Ask for fewer forms, or let forms share clips."
    told = dict.fromkeys(_gives(one, wording) for one in found)
    return f"These wishes cannot all be met with the clips that there are. {' '.join(list(told)[:3])}"


def _gives(one: measure.Relaxation, wording: Wording) -> str:
    """One rule that would have to give, as a sentence."""
    many, clips = max(1, round(one.amount)), "clip" if round(one.amount) <= 1 else "clips"
    match one.group:
        case "length" | "sources":
            return f"There are {many} {clips} too few."
        case "topics":
            return f"{wording.titles.get(one.what, one.what)} has {many} {clips} too few."
        case "positives" | "positives per topic":
            return f"{many} {clips} {'with' if one.way == 'less' else 'without'} a flag are missing."
        case "exposure":
            return "Some clips would have to be in more forms: let forms share clips, or ask for fewer forms."
        case "difficulty":
            return (
                f"The clips are too {'easy' if one.way == 'less' else 'hard'} on the whole: leave the difficulty open."
            )
        case _:
            return "The forms cannot be made alike."
