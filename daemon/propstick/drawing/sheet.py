"""Measures of the sheet a picture is drawn on. One unit is a pixel on a small phone's screen, about."""

WIDTH = 440
EDGE = 14
"""Where words begin."""
LEFT, RIGHT = 42, 374
"""Where the panels' walls stand."""
LINE = 17
"""From one line of words to the next."""
CHARACTERS = 56
"""That fit the width at size 12.5."""
MOST_ALARMS, MOST_NOTICES = 5, 6
"""Listed; of more there is only the number."""
