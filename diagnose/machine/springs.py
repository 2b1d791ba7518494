"""Rate and force of a helical compression spring.

k = G d^4 / (8 D^3 Na), D the mean coil diameter: Shigley, Mechanical Engineering Design,
chapter 10 (from memory); the same in EN 13906-1.
"""

from __future__ import annotations

from diagnose.errors import InputError

SHEAR_MODULUS = {
    "EN 10270-1": 81.5,
    "EN 10270-2": 79.5,
    "EN 10270-3": 73.0,
}
"""GPa at 20 C: EN 13906-1, from memory (the first read in a wire maker's public table)."""


def spring_rate(wire: float, mean_diameter: float, active_coils: float, modulus: float) -> float:
    """Spring rate in N/mm; wire and mean diameter in mm, modulus in GPa."""
    if mean_diameter <= wire:
        raise InputError(
            f"a mean coil diameter of {mean_diameter:g} mm does not fit a wire of {wire:g} mm"
        )
    return 1000 * modulus * wire**4 / (8 * mean_diameter**3 * active_coils)


def spring_force(rate: float, free_length: float, length: float) -> float:
    """Force in N of a spring pressed from `free_length` to `length` mm; none when it is free."""
    return max(0.0, rate * (free_length - length))
