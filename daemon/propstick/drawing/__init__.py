"""Pictures as SVG text of our own: pure functions from what was measured and said to one string."""

from propstick.drawing.night import night_picture
from propstick.drawing.scene import BoxNight, Line, NightScene

__all__ = ["BoxNight", "Line", "NightScene", "night_picture"]
