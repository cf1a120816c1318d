"""Fixtures that several tests of this folder share."""

from tests.adapters.tapes import filmed_shelf, shelf

__all__ = ["filmed_shelf", "shelf"]
