"""DM1 and the transport protocol against published and computed values.

Rows without another source: SAE J1939-73 layouts as worked out in the check values of the
project (frames in candump form), ISO 11783-12 for lamp bytes FF.
"""

from __future__ import annotations

from pathlib import Path

import can
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.log.bus_files import frames
from diagnose.log.bus_lines import kind_of
from diagnose.log.dm1 import PGN, decode, decode_code
from diagnose.log.fmi import TEXTS, text
from diagnose.log.source import Fault
from diagnose.log.transport import Frame, Lost, Message, assemble


def parse(lines: list[str]) -> list[Frame]:
    out = []
    for number, line in enumerate(lines, 1):
        identifier, _, data = line.partition("#")
        out.append(Frame(number / 10, int(identifier, 16), bytes.fromhex(data), number))
    return out


def codes(lines: list[str]) -> list[tuple[int, int, int | None]]:
    messages = [m for m in assemble(iter(parse(lines))) if isinstance(m, Message)]
    return [(c.spn, c.fmi, c.count) for m in messages if m.pgn == PGN for c in decode(m.data).codes]


def test_one_code_with_its_lamp_is_decoded() -> None:
    [frame] = parse(["18FECA00#40FF5B000301FFFF"])
    assert (frame.pgn, frame.source) == (PGN, 0)
    message = decode(frame.data)
    assert message.lamps["malfunction"] == "on"
    assert message.lamps["red stop"] == "off"
    assert [(c.spn, c.fmi, c.count) for c in message.codes] == [(91, 3, 1)]


@pytest.mark.parametrize("payload", ["00FF00000000FFFF", "FFFFFFFFFFFFFFFF", "00FFFFFFFFFFFFFF"])
def test_all_zero_and_all_ff_are_no_fault(payload: str) -> None:
    assert decode(bytes.fromhex(payload)).codes == ()


def test_a_broadcast_in_several_packets_is_put_together() -> None:
    lines = [
        "18ECFF00#20120003FFCAFE00",
        "18EBFF00#0100FF5B0003015C",
        "18EBFF00#020004025D000503",
        "18EBFF00#035E000604FFFFFF",
    ]
    assert codes(lines) == [(91, 3, 1), (92, 4, 2), (93, 5, 3), (94, 6, 4)]


def test_both_lamp_bytes_ff_mean_lamps_not_available() -> None:
    lines = ["1CECFFAA#200E0002FFCAFE00", "1CEBFFAA#01FFFFD2041F0137", "1CEBFFAA#02020201CE220C01"]
    [message] = assemble(iter(parse(lines)))
    assert isinstance(message, Message)
    assert message.source == 170
    decoded = decode(message.data)
    assert set(decoded.lamps.values()) == {"not available"}
    assert codes(lines) == [(1234, 31, 1), (567, 2, 1), (8910, 12, 1)]


def test_flashing_lamps_and_large_spns() -> None:
    message = decode(bytes.fromhex("11CD610213002106 1F00EE100400".replace(" ", "")))
    assert message.lamps["protect"] == "fast flash"
    assert message.lamps["red stop"] == "slow flash"
    assert [(c.spn, c.fmi, c.count) for c in message.codes] == [
        (609, 19, 0),
        (1569, 31, 0),
        (4334, 4, 0),
    ]


@pytest.mark.parametrize(
    ("raw", "method"), [("2468A583", 1), ("6824A583", 2), ("45232583", 3), ("45232503", None)]
)
def test_each_conversion_method_gives_the_same_code(raw: str, method: int | None) -> None:
    code = decode_code(bytes.fromhex(raw), method)
    assert (code.spn, code.fmi, code.count) == (0x12345, 5, 3)
    assert code.conversion == (method or 4)


def test_an_old_code_of_unknown_method_says_so() -> None:
    assert decode_code(bytes.fromhex("2468A583")).conversion == 0


def test_count_127_is_not_available() -> None:
    assert decode_code(bytes.fromhex("5B00037F")).count is None


def test_a_payload_too_short_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 6"):
        decode(b"\x00\xff\x00")


def test_rts_and_cts_between_two_nodes_is_put_together_and_a_resent_packet_is_no_second_one() -> (
    None
):
    lines = [
        "1CEC2280#10120003FFCAFE00",
        "1CEC8022#110301FFFFCAFE00",
        "1CEB2280#0100FF5B0003015C",
        "1CEB2280#020004025D000503",
        "1CEB2280#020004025D000503",
        "1CEB2280#035E000604FFFFFF",
        "1CEC8022#13120003FFCAFE00",
    ]
    assert codes(lines) == [(91, 3, 1), (92, 4, 2), (93, 5, 3), (94, 6, 4)]


def test_two_broadcasts_woven_into_each_other_stay_apart() -> None:
    first = ["18ECFF01#200A0002FFCAFE00", "18EBFF01#0100FF5B00030102", "18EBFF01#02000401FFFFFFFF"]
    second = [line.replace("FF01#", "FF02#").replace("5B0003", "5C0003") for line in first]
    woven = [line for pair in zip(first, second, strict=True) for line in pair]
    assert codes(woven) == [(91, 3, 1), (2, 4, 1), (92, 3, 1), (2, 4, 1)]


def test_a_message_that_lost_a_packet_is_lost_and_not_guessed() -> None:
    lines = ["18ECFF00#20120003FFCAFE00", "18EBFF00#0100FF5B0003015C", "18EBFF00#035E000604FFFFFF"]
    out = list(assemble(iter(parse(lines))))
    assert out == [Lost(3, 1)]


def test_a_message_that_stops_is_given_up_after_the_time_limit() -> None:
    lines = ["18ECFF00#200E0002FFCAFE00", "18EBFF00#0100FF5B0003015C", "18EBFF00#020004025D000503"]
    late = parse(lines)
    late[2] = Frame(late[1].time + 1.3, late[2].id, late[2].data, 3)
    assert [type(m) for m in assemble(iter(late))] == [Lost, Lost]


def test_an_abort_ends_the_session_it_names() -> None:
    lines = ["1CEC2280#10120003FFCAFE00", "1CEB2280#0100FF5B0003015C", "1CEC8022#FF01FFFFFFCAFE00"]
    out = list(assemble(iter(parse(lines))))
    assert out[0] == Lost(2, 1)


@given(
    st.lists(
        st.tuples(st.integers(1, 524286), st.integers(0, 31), st.integers(0, 126)),
        min_size=1,
        max_size=20,
    ),
    st.integers(0, 253),
)
@settings(max_examples=100, deadline=None)
def test_any_message_cut_into_packets_comes_back_and_no_frame_is_lost_count_of(
    wanted: list[tuple[int, int, int]], source: int
) -> None:
    payload = b"\x00\xff" + b"".join(
        (spn & 0xFFFF).to_bytes(2, "little") + bytes([spn >> 16 << 5 | fmi, count])
        for spn, fmi, count in wanted
    )
    if len(payload) <= 8:
        sent = [Frame(0.0, 0x18FECA00 | source, payload.ljust(8, b"\xff"), 1)]
    else:
        packets = -(-len(payload) // 7)
        head = bytes([0x20]) + len(payload).to_bytes(2, "little") + bytes([packets, 255])
        sent = [Frame(0.0, 0x1CECFF00 | source, head + bytes.fromhex("CAFE00"), 1)]
        for i in range(packets):
            part = payload[7 * i : 7 * i + 7].ljust(7, b"\xff")
            sent.append(Frame(0.1 * i, 0x1CEBFF00 | source, bytes([i + 1]) + part, i + 2))
    out = list(assemble(iter(sent)))
    assert sum(m.frames for m in out) == len(sent)
    [message] = out
    assert isinstance(message, Message)
    assert [(c.spn, c.fmi, c.count) for c in decode(message.data).codes] == wanted


@pytest.mark.parametrize(
    ("fmi", "word"),
    [(0, "above"), (1, "below"), (2, "erratic"), (3, "voltage high"), (4, "voltage low"),
     (5, "current low"), (6, "current high"), (7, "mechanical"), (8, "frequency"), (9, "update"),
     (10, "rate of change"), (11, "unknown"), (12, "bad"), (13, "calibration"), (14, "special"),
     (16, "moderate"), (18, "moderate"), (19, "network"), (20, "high"), (21, "low"),
     (31, "condition")],
)  # fmt: skip
def test_fmi_texts_say_what_the_standard_says(fmi: int, word: str) -> None:
    assert word in text(fmi)


def test_every_fmi_has_a_text_or_is_reserved() -> None:
    assert {fmi for fmi in range(32) if text(fmi).startswith("reserved")} == set(range(22, 31))
    assert len(TEXTS) == 23


def split(path: Path) -> tuple[list[Frame], list[Fault]]:
    kind = kind_of(path.read_bytes()[:4096], path)
    assert kind is not None
    out = list(frames(path, kind))
    return [f for f in out if isinstance(f, Frame)], [f for f in out if isinstance(f, Fault)]


CANDUMP_WITH_TRAPS = """\
# a comment
(1784800000.000000) can0 18FECA00#40FF5B000301FFFF
DROPCOUNT: dropped 12 CAN frames on 'can0' socket (total drops 12)
(1784800001.000000) can0 18FECA00#40FF5B000301FFF
(1784800002.000000)  can0  18FECA00   [8]  40 FF 5B 00 03 02 FF FF
  can0  18FECA00   [8]  40 FF 5B 00 03 02 FF FF

(1784800003.000000) can0 18FECA00#40FF5B000303FFFF R
nonsense
(1784800004.000000) can0 18FECA00#R
"""


def test_candump_traps_are_told_with_their_line_and_the_rest_is_read(tmp_path: Path) -> None:
    path = tmp_path / "bus.log"
    path.write_text(CANDUMP_WITH_TRAPS)
    got, faults = split(path)
    assert [(f.line, f.data[5:6].hex(), f.plain) for f in got] == [
        (2, "01", True),
        (5, "02", True),
        (8, "03", True),
        (10, "", False),
    ]
    told = {f.line: f.reason for f in faults}
    assert told[1] == "ignored: comment"
    assert told[3].startswith("ignored: recorder")
    assert told[4] == "odd number of hex digits"
    assert told[6].startswith("no time stamp")
    assert told[7] == "ignored: blank line"
    assert told[9] == "not a line of candump"
    assert len(got) + len(faults) == len(CANDUMP_WITH_TRAPS.splitlines())


def written(path: Path) -> list[can.Message]:
    messages = [
        can.Message(
            timestamp=1784800000.0 + i,
            arbitration_id=0x18FECA00 + i,
            is_extended_id=True,
            data=bytes([0, 255, 91 + i, 0, 3, 1, 255, 255]),
            channel=1,
        )
        for i in range(5)
    ]
    with can.Logger(str(path)) as logger:
        for message in messages:
            logger(message)
    return messages


@pytest.mark.parametrize("name", ["a.log", "a.asc", "a.trc", "a.blf"])
def test_what_python_can_wrote_is_read_back_frame_by_frame(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    messages = written(path)
    got, faults = split(path)
    assert [(f.id, f.data) for f in got] == [(m.arbitration_id, bytes(m.data)) for m in messages]
    assert all(f.reason.startswith("ignored: ") for f in faults)
    assert got[4].time - got[0].time == pytest.approx(4.0, abs=0.01)


@pytest.mark.parametrize("keep", ["", "base", "date"])
def test_an_asc_log_without_its_whole_head_still_gives_every_frame(
    tmp_path: Path, keep: str
) -> None:
    path = tmp_path / "a.asc"
    written(path)
    lines = [
        line
        for line in path.read_text().splitlines()
        if line[:1].isspace() or line[:1].isdigit() or (keep and line.startswith(keep))
    ]
    path.write_text("\n".join(lines) + "\n")
    got, _ = split(path)
    assert len(got) == 5


def test_a_damaged_asc_and_trc_line_is_rejected_and_the_rest_read(tmp_path: Path) -> None:
    for name, old, new in (("a.asc", "FF 5C 00", "FF ZZ 00"), ("a.trc", "FF 5C 00", "FF ZZ 00")):
        path = tmp_path / name
        written(path)
        text_ = path.read_text()
        assert old in text_, text_
        path.write_text(text_.replace(old, new))
        got, faults = split(path)
        assert len(got) == 4, name
        bad = [f for f in faults if not f.reason.startswith("ignored: ")]
        assert len(bad) == 1
        assert bad[0].line > 1


def test_a_cut_off_blf_gives_its_frames_and_says_it_is_cut(tmp_path: Path) -> None:
    path = tmp_path / "a.blf"
    written(path)
    path.write_bytes(path.read_bytes()[:150])
    got, faults = split(path)
    assert not got
    assert faults
