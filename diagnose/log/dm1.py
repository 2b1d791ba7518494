"""Decodes SAE J1939-73 DM1 (active trouble codes, PGN 65226), as ISO 11783-12 uses it too.

Byte 1 holds the lamps and byte 2 their flashing, two bits each; then come four bytes for
each trouble code. Layouts of the four bytes after SAE J1939-73, section 5.7.1.7.
"""

from __future__ import annotations

from dataclasses import dataclass

PGN = 65226
CURRENT = 4
"""Conversion method whose bit is 0. A set bit means method 1, 2 or 3, and not which."""
LAMP_NAMES = ("malfunction", "red stop", "amber warning", "protect")
_NO_FAULT = (b"\x00\x00\x00\x00", b"\xff\xff\xff\xff")


@dataclass(frozen=True)
class TroubleCode:
    """One trouble code: what is suspect (SPN), how it fails (FMI), how often (None: not told)."""

    spn: int
    fmi: int
    count: int | None
    raw: bytes
    conversion: int = CURRENT
    """Method it was decoded with; 0 when the bit says "old" and nobody told which."""


@dataclass(frozen=True)
class Dm1:
    """The lamps by name (off, on, slow flash, fast flash, not available) and the codes."""

    lamps: dict[str, str]
    codes: tuple[TroubleCode, ...]


def spn_and_fmi(raw: bytes, conversion: int) -> tuple[int, int]:
    """SPN (19 bits) and FMI (5 bits) of the first three of four bytes, by conversion method."""
    first, second, third = raw[0], raw[1], raw[2]
    fmi, top = third & 0x1F, third >> 5
    if conversion == 1:
        return first << 11 | second << 3 | top, fmi
    if conversion == 2:
        return second << 11 | first << 3 | top, fmi
    return top << 16 | second << 8 | first, fmi


def decode_code(raw: bytes, old_method: int | None = None) -> TroubleCode:
    """One trouble code of four bytes; `old_method` (1, 2 or 3) is used when its bit is set.

    Without it an old code is read like method 3, which shares the current layout, and
    carries conversion 0, so that nothing is built on an uncertain SPN.
    """
    is_old = bool(raw[3] & 0x80)
    method = (old_method or 0) if is_old else CURRENT
    spn, fmi = spn_and_fmi(raw, method or 3)
    count = raw[3] & 0x7F
    return TroubleCode(spn, fmi, None if count == 127 else count, bytes(raw), method)


def decode(payload: bytes, old_method: int | None = None) -> Dm1:
    """A whole DM1 payload. All-zero and all-FF codes are no fault and are left out.

    Raises ValueError when the payload is too short to hold lamps and one code.
    """
    if len(payload) < 6:
        raise ValueError(f"DM1 of {len(payload)} bytes, at least 6 needed")
    count = (len(payload) - 2) // 4
    parts = (payload[2 + 4 * i : 6 + 4 * i] for i in range(count))
    codes = tuple(decode_code(part, old_method) for part in parts if part not in _NO_FAULT)
    return Dm1(_lamps(payload[0], payload[1]), codes)


def _lamps(lamp_byte: int, flash_byte: int) -> dict[str, str]:
    states = {}
    for place, name in zip((6, 4, 2, 0), LAMP_NAMES, strict=True):
        lamp, flash = lamp_byte >> place & 3, flash_byte >> place & 3
        if lamp == 0:
            states[name] = "off"
        elif lamp == 1:
            states[name] = {0: "slow flash", 1: "fast flash"}.get(flash, "on")
        else:
            states[name] = "not available"
    return states
