"""Powers that are readings: in exports some values stand for none, and are read as none."""

from agree.core.thresholds import MARKER_READINGS
from agree.recordings.readings import POWER_MARKERS


def genuine(watts):
    """Whether none of these powers (W, None where there is none) is taken for no reading."""
    known = [one for one in watts if one is not None]
    below = [one for one in known if one < 0]
    return not set(known) & set(POWER_MARKERS) and (len(set(below)) != 1 or len(below) < MARKER_READINGS)
