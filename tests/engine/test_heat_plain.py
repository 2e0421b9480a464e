"""The plain heat forecast: nearer and steeper is likelier."""

import numpy as np

from propstick.engine.heat_plain import distance_chances, line_chances


def test_nearer_is_likelier_and_later_too():
    """Falls with the gap; 60 min is likelier than 20."""
    gap = np.array([0.5, 2.0, 5.0, 10.0])
    for chances in (distance_chances(gap), line_chances(gap, np.zeros(4))):
        assert (np.diff(chances, axis=1) < 0.0).all()
        assert (np.diff(chances, axis=0) > 0.0).all()


def test_a_rise_that_gets_there_is_likely():
    """5 °C to go at 0.3 °C a minute gets there in 17 min: much likelier than at a standstill."""
    rising, still = line_chances(np.array([5.0, 5.0]), np.array([0.3, 0.0]))[1]
    assert rising > 3.0 * still
    assert still < 0.1
