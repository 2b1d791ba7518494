"""What a failure mode identifier (FMI) says: SAE J1939-73, appendix A, in our own words.

The texts were written from memory of the published list. Which of them speak of the sensor
and its wiring, and so not of the part it watches, is judgement.
"""

from __future__ import annotations

TEXTS: dict[int, str] = {
    0: "above normal, most severe",
    1: "below normal, most severe",
    2: "erratic or intermittent",
    3: "voltage high or shorted to supply",
    4: "voltage low or shorted to ground",
    5: "current low or circuit open",
    6: "current high or circuit grounded",
    7: "mechanical system not responding or out of adjustment",
    8: "abnormal frequency or pulse",
    9: "abnormal update rate",
    10: "abnormal rate of change",
    11: "root cause unknown",
    12: "bad device or component",
    13: "out of calibration",
    14: "special instructions",
    15: "above normal, least severe",
    16: "above normal, moderate",
    17: "below normal, least severe",
    18: "below normal, moderate",
    19: "received network data in error",
    20: "data drifted high",
    21: "data drifted low",
    31: "condition exists",
}

SENSOR = frozenset({2, 3, 4, 5, 6, 8, 9, 10, 12, 13, 19, 20, 21})
"""FMI that put the sensor, its wiring or its message in doubt, whatever it watches."""


def text(fmi: int) -> str:
    """The meaning of an FMI (0 to 31); those the standard keeps back say so."""
    return TEXTS.get(fmi, "reserved by the standard")
