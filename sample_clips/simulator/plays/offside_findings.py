"""From the measures of an offside play to findings in words, and to the ruling by the card."""

from __future__ import annotations

from sample_clips.simulator.plays.offside_measure import EYE, Bound, Measures
from sample_clips.simulator.scene import Scene
from sample_clips.simulator.truth import Finding, Ruling, Verdict, frame_of, rule

ELEMENTS = ("opponents-half", "past-the-ball", "past-second-last", "involved")
EXCEPTIONS = ("direct-from-restart", "opponent-plays-it")


def findings(scene: Scene, found: Measures) -> dict[str, Finding]:
    """A finding for every element and exception of the card."""
    contact = frame_of(found.contact)
    elements: dict[str, Finding] = {name: _bound(scene, found, name) for name in found.margins}
    return {
        **elements,
        "involved": _involved(found),
        "direct-from-restart": Finding(
            verdict="present" if found.restart else "absent",
            frame=contact,
            view="line",
            why=f"It comes straight from a {found.restart}."
            if found.restart
            else "The team-mate plays it in open play.",
        ),
        "opponent-plays-it": _opponent(found),
    }


def ruling(found: dict[str, Finding]) -> Ruling:
    """The live ruling: in doubt the flag stays down."""
    return "flag" if rule(found, ELEMENTS, EXCEPTIONS) else "no flag"


def _bound(scene: Scene, found: Measures, bound: Bound) -> Finding:
    margin = found.margins[bound]
    low, high = found.unsure if bound == "past-second-last" else (margin, margin)
    hidden = found.hidden and low < EYE and high > -EYE
    verdict = _told(low, high) if hidden else _told(margin, margin)
    words = {
        "opponents-half": "the halfway line",
        "past-the-ball": "the ball",
        "past-second-last": f"the second-last opponent ({scene.actors[found.second_last].name})",
    }
    why = _past(margin, words[bound], verdict)
    if hidden:
        why = f"The contact is hidden; meanwhile he goes from {_length(low)} to {_length(high)} against {words[bound]}."
    return Finding(verdict=verdict, frame=frame_of(found.contact), view="line", why=why)


def _told(low: float, high: float) -> Verdict:
    if low >= EYE:
        return "present"
    return "absent" if high <= -EYE else "can't tell"


def _past(margin: float, what: str, verdict: Verdict) -> str:
    if verdict == "can't tell":
        return f"Too close to tell: {_length(margin)} against {what} at the contact."
    if abs(margin) < 0.10 and margin < 0:
        return f"Level with {what} at the contact."
    return f"He is {_length(abs(margin)).lstrip('+')} {'past' if margin > 0 else 'short of'} {what} at the contact."


def _length(metres: float) -> str:
    """Said as people say it: centimetres below a metre, then metres."""
    return f"{metres * 100:+.0f} cm" if abs(metres) < 1 else f"{metres:+.1f} m"


def _involved(found: Measures) -> Finding:
    verdict: Verdict = "present" if found.part else "absent"
    said = {
        "plays-it": "He plays the ball.",
        "gains": "He plays the ball that came back off the post or the keeper.",
        "hinders": f"He stands {found.sight * 100:.0f} cm from the keeper's line of sight as the shot is struck.",
        None: f"He never comes nearer than {found.nearest:.1f} m to the ball and hinders nobody.",
    }
    frame = frame_of(found.until if found.involved is None else found.involved)
    return Finding(verdict=verdict, frame=frame, view="line", why=said[found.part])


def _opponent(found: Measures) -> Finding:
    said = {
        "save": "The keeper's touch is a save, no deliberate play.",
        "deflection": "It only strikes the opponent: a deflection, no deliberate play.",
        "deliberate": "The opponent has time, goes to the ball and plays it by choice.",
        None: "No opponent plays it in between.",
    }
    sample = found.contact if found.between_sample is None else found.between_sample
    verdict: Verdict = "present" if found.between == "deliberate" else "absent"
    return Finding(verdict=verdict, frame=frame_of(sample), view="line", why=said[found.between])
