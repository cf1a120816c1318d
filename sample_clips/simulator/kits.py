"""What people wear: kits of invented clubs, easy to tell apart for every eye by lightness as well as by colour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_clips.simulator.light import linear
from sample_clips.simulator.scene import Actor, Floats, Scene
from sample_clips.simulator.solids import Skin


@dataclass(frozen=True)
class Dress:
    """One person's looks: colours and second colours by part of the body, shirt pattern, number, build (1 is usual)."""

    colours: dict[str, Floats]
    seconds: dict[str, Floats]
    pattern: Skin
    number: int
    build: float


@dataclass(frozen=True)
class Cloth:
    """A kit as its maker would list it: shirt, trim, shorts, socks, and the pattern of the shirt."""

    shirt: str
    trim: str
    shorts: str
    socks: str
    pattern: Skin = Skin.SHIRT


SKINS = ("e8b999", "d9a27c", "c08a63", "a06c48", "7a4e33", "5a3826")
HAIRS = ("2a211b", "4a3424", "6f5333", "14110f", "8b7448", "55504c")

# Two wardrobes a side; the dark shirts are always the home side's, the light ones the visitors'.
HOME = (
    Cloth("20407f", "e8eaee", "e8eaee", "20407f"),
    Cloth("8c2230", "e9d9b0", "2a2530", "8c2230", Skin.SASH),
)
AWAY = (
    Cloth("e2dfd4", "9a2c28", "b3362f", "e2dfd4"),
    Cloth("dd9a2b", "23262e", "23262e", "dd9a2b", Skin.HOOPS),
)
KEEPERS = {"home keeper": Cloth("6c4a96", "e8eaee", "4f3672", "6c4a96"),
           "away keeper": Cloth("2f8f93", "14181c", "1e5f66", "2f8f93")}  # fmt: skip
OFFICIAL = Cloth("1b1c1f", "d9c63a", "1b1c1f", "1b1c1f")
COURT_OFFICIAL = Cloth("8d9096", "202226", "202226", "202226")


def cloth_of(scene: Scene, actor: Actor) -> Cloth:
    """The kit of a person: both sides of one game wear the pair that its name or seed picks."""
    if actor.kit == "official":
        return OFFICIAL if scene.sport == "football" else COURT_OFFICIAL
    if actor.kit in KEEPERS:
        return KEEPERS[actor.kit]
    game = sum(map(ord, str(scene.facts.get("game", scene.seed))))
    return HOME[game % 2] if actor.kit == "home" else AWAY[game // 2 % 2]


def dress_of(scene: Scene, actor: Actor) -> Dress:
    """Everything worn, with the colour of skin and hair."""
    cloth = cloth_of(scene, actor)
    skin, hair = linear(SKINS[actor.skin % 6]), linear(HAIRS[actor.hair % 6])
    shirt, trim = linear(cloth.shirt), linear(cloth.trim)
    gym = scene.sport == "basketball"
    keeper = actor.kit in KEEPERS
    boot = linear(("1a1a1c", "d8d8d4", "b9432d")[(actor.number + actor.skin) % 3])
    bare = gym and actor.kit != "official"
    colours = {"shirt": shirt, "cloth": shirt, "sleeve": skin if bare else shirt, "shorts": linear(cloth.shorts),
               "head": skin, "skin": skin, "arm": shirt if keeper else skin, "boot": boot,
               "hand": linear("d7d9d2") if keeper else skin,
               "sock": linear("dcdcd8") if bare else linear(cloth.socks)}  # fmt: skip
    seconds = {"shirt": trim, "head": hair, "sock": skin if gym else np.asarray(trim)}
    if gym and actor.kit == "official":
        colours["skin"] = linear(cloth.shorts)  # long trousers
        seconds["sock"] = linear(cloth.shorts)
    build = 0.97 + 0.012 * ((actor.number * 7 + actor.hair * 3) % 6)
    number = 0 if actor.kit == "official" else actor.number
    return Dress(colours, seconds, cloth.pattern, number, build)
