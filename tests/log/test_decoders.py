"""can-j1939 as a second decoder of DM1, on random messages; where it errs is listed.

Its known errors: an all-zero code is given as SPN 0 FMI 0 instead of no fault, an all-FF one
as SPN 524287; the conversion bit is logged as an error and the code read in the current
layout; a count of 127 (not available) is given as 127.
"""

from __future__ import annotations

import logging

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.log.dm1 import LAMP_NAMES, PGN, decode, decode_code

j1939 = pytest.importorskip("j1939")
SHORT = dict(zip(LAMP_NAMES, ("mil", "rsl", "awl", "pl"), strict=True))


class _Listener:
    """Stands where a controller application would, so that no bus is needed."""

    def subscribe(self, callback: object) -> None:
        self.callback = callback


def second(payload: bytes) -> tuple[dict[str, int], list[tuple[int, int, int]]]:
    listener, heard = _Listener(), []
    dm1 = j1939.Dm1(listener)
    dm1.subscribe(lambda _sa, lamps, codes, _time: heard.append((lamps, codes)))
    listener.callback(6, PGN, 0x80, 0.0, bytearray(payload))
    [(lamps, codes)] = heard
    return dict(lamps), [(c["spn"], c["fmi"], c["oc"]) for c in codes]


CODE = st.tuples(st.integers(1, 524286), st.integers(0, 31), st.integers(0, 126))


def payload_of(lamps: tuple[int, int], codes: list[tuple[int, int, int]]) -> bytes:
    parts = [
        (spn & 0xFFFF).to_bytes(2, "little") + bytes([spn >> 16 << 5 | fmi, count])
        for spn, fmi, count in codes
    ]
    return bytes(lamps) + b"".join(parts)


@given(st.tuples(st.integers(0, 255), st.integers(0, 255)), st.lists(CODE, min_size=1, max_size=15))
@settings(max_examples=300, deadline=None)
def test_both_decoders_read_the_same_codes(
    lamps: tuple[int, int], codes: list[tuple[int, int, int]]
) -> None:
    payload = payload_of(lamps, codes)
    mine = decode(payload)
    _, theirs = second(payload)
    assert [(c.spn, c.fmi, c.count) for c in mine.codes] == theirs[: len(codes)] == codes


@given(st.tuples(st.integers(0, 255), st.integers(0, 255)))
@settings(max_examples=300, deadline=None)
def test_both_decoders_read_the_same_lamps_where_the_flash_bits_are_defined(
    lamps: tuple[int, int],
) -> None:
    payload = payload_of(lamps, [(91, 3, 1)])
    theirs, _ = second(payload)
    words = {
        j1939.DtcLamp.OFF: "off", j1939.DtcLamp.ON: "on",
        j1939.DtcLamp.ON_SLOW_FLASH: "slow flash", j1939.DtcLamp.ON_FAST_FLASH: "fast flash",
    }  # fmt: skip
    for place, name in zip((6, 4, 2, 0), LAMP_NAMES, strict=True):
        lamp, flash = lamps[0] >> place & 3, lamps[1] >> place & 3
        if lamp == 0 or (lamp == 1 and flash != 2):
            assert decode(payload).lamps[name] == words[theirs[SHORT[name]]]


def test_its_known_errors_are_still_there() -> None:
    assert second(bytes.fromhex("00FF00000000FFFF"))[1][0] == (0, 0, 0)
    assert decode(bytes.fromhex("00FF00000000FFFF")).codes == ()
    assert second(bytes.fromhex("FFFFFFFFFFFFFFFF"))[1][0][0] == 524287
    assert decode(bytes.fromhex("FFFFFFFFFFFFFFFF")).codes == ()
    logging.disable(logging.CRITICAL)
    try:
        wrong = second(bytes.fromhex("00FF2468A583FFFF"))[1][0]
    finally:
        logging.disable(logging.NOTSET)
    right = decode_code(bytes.fromhex("2468A583"), 1)
    assert wrong[0] != right.spn == 0x12345
