"""Questions under test: how hard each is, how able each person, which key is wrong, which question is known.

rasch      difficulty and ability together: marginal likelihood, Bayes-modal; ability from known difficulties
classical  share right, agreement with the rest, and who chose which option
watch      a key that may be wrong, answering times, a question that has leaked
"""

from app.measure.items.classical import ItemStats, Option, classical, distractors
from app.measure.items.rasch import (
    Ability,
    Calib,
    OneParameter,
    eap,
    eap_all,
    icc,
    information,
    mml,
    rasch_map,
)
from app.measure.items.watch import LeakCusum, Speed, miskey_logbf, speed_fit

__all__ = [
    "Ability",
    "Calib",
    "ItemStats",
    "LeakCusum",
    "OneParameter",
    "Option",
    "Speed",
    "classical",
    "distractors",
    "eap",
    "eap_all",
    "icc",
    "information",
    "miskey_logbf",
    "mml",
    "rasch_map",
    "speed_fit",
]
