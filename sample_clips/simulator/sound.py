"""What is heard at the camera."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sample_clips.simulator.camera import Camera
from sample_clips.simulator.scene import RATE, Scene

SOUND_RATE = 48000


def sound_of(scene: Scene, camera: Camera) -> NDArray[np.float32]:
    """Mono sound (n,) of the whole scene."""
    random = np.random.default_rng(scene.seed)
    return (0.02 * random.standard_normal(len(scene.ball) * SOUND_RATE // RATE)).astype(np.float32)
