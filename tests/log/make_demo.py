"""Makes the demo's logs: `python -m tests.log.make_demo` writes casebook_demo/logs anew.

Three Gates Contracting and its balers are invented, and so is every figure: drawn from a
seeded generator, not from a machine. Chances of a bad tie were set once, by what a season
with such a fault would look like, and not tuned to what the diagnosis makes of them.
"""

from __future__ import annotations

import gzip
import io
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

FOLDER = Path(__file__).parents[2] / "casebook_demo" / "logs"
FIRST, STRIKE = datetime(2026, 6, 15, 9), datetime(2026, 7, 21, 15, 40)
END = datetime(2026, 7, 22, 13)
KNOTTERS = 6
Line = tuple[datetime, int, int | None, str]
"""Time, bale count, knotter, code."""


def bales(rng: random.Random, first_count: int) -> Iterator[tuple[datetime, int]]:
    """Working days, fields of 40 to 90 bales, 35 to 80 seconds a bale; Sundays off."""
    count, day = first_count, FIRST
    while day < END:
        # The days around the needle strike are working days for all three.
        if day.weekday() != 6 and (rng.random() < 0.8 or day > STRIKE - timedelta(days=2)):
            time = day + timedelta(minutes=rng.randrange(0, 120))
            for _ in range(rng.randrange(3, 6)):
                for _ in range(rng.randrange(40, 90)):
                    time += timedelta(seconds=rng.randrange(35, 80))
                    if time >= END:
                        return
                    count += 1
                    yield time, count
                time += timedelta(minutes=rng.randrange(25, 70))
        day += timedelta(days=1)


def everyday(rng: random.Random, time: datetime, count: int) -> Iterator[Line]:
    """What a sound machine logs besides its bales."""
    for k in range(1, KNOTTERS + 1):
        if rng.random() < 0.0002:
            yield time, count, k, "tie_missed"
    if rng.random() < 0.008:
        yield time, count, rng.randrange(1, KNOTTERS + 1), "twine_out"
    if rng.random() < 0.003:
        yield time, count, None, "density_over"
    if rng.random() < 0.004:
        yield time, count, None, "bale_too_short"
    if count % 1500 == 0:
        yield time, count, None, "twine_changed"


def baler_a() -> Iterator[Line]:
    """Sound all season."""
    rng = random.Random("Baler A, 2026")
    for time, count in bales(rng, 11_204):
        yield time, count, None, "bale"
        yield from everyday(rng, time, count)


def baler_b() -> Iterator[Line]:
    """The trip rod wears: now and then no cycle at all, seldom in June, weekly more."""
    rng = random.Random("Baler B, 2026")
    start = 23_871
    for time, count in bales(rng, start):
        yield time, count, None, "bale"
        yield from everyday(rng, time, count)
        if rng.random() < 0.025 * ((count - start) / 7000) ** 2:
            yield time, count, None, "knotter_no_cycle"
            if rng.random() < 0.7:
                yield time, count, None, "bale_too_long"


def baler_c() -> Iterator[Line]:
    """A stone takes the needles' shear bolt; a new bolt, and knotter 4 ties badly from then on."""
    rng = random.Random("Baler C, 2026")
    struck = False
    for time, count in bales(rng, 6_530):
        yield time, count, None, "bale"
        yield from everyday(rng, time, count)
        if time >= STRIKE and not struck:
            struck = True
            yield time, count, None, "NB-GONE"
            yield time + timedelta(minutes=1), count, None, "WORK"
        elif struck and rng.random() < 0.22:
            yield time, count, 4, "K-MISS"
        if rng.random() < 0.002:
            yield time, count, None, rng.choice(["DOOR", "X-204"])


CONTROLLER_C = {"tie_missed": "K-MISS", "bale": "BALE", "twine_out": "TW-OUT",
                "density_over": "D-MAX", "bale_too_short": "L-SHORT",
                "twine_changed": "TW-NEW"}  # fmt: skip


def season_csv(machine: str, lines: Iterator[Line], names: dict[str, str]) -> str:
    """A machine's season as CSV, in the controller's own code names."""
    out = io.StringIO()
    out.write("time,machine,bale,knotter,code,value\n")
    for time, count, knotter, code in sorted(lines, key=lambda line: line[0]):
        out.write(f"{time:%Y-%m-%dT%H:%M:%S},{machine},{count},{knotter or ''},"
                  f"{names.get(code, code)},\n")  # fmt: skip
    return out.getvalue()


def bus_log() -> str:
    """An hour of Baler C's bus on 22 July: counter each second, DM1 each second, other traffic.

    Source 128 is the invented knotter controller. Its DM1 has one code while only the missed
    tie of knotter 4 is active, and three (so several packets) when load sensor and an unmapped
    code join it.
    """
    rng = random.Random("Baler C, bus, 22 July 2026")
    begin = datetime(2026, 7, 22, 11)
    start, occurred = int(begin.replace(tzinfo=UTC).timestamp()), 30
    count = max(count for time, count, _, _ in baler_c() if time < begin)
    out, next_bale = io.StringIO(), 50.0
    for second in range(3600):
        stamp = start + second
        if second >= next_bale:
            count += 1
            next_bale += rng.randrange(35, 80)
            occurred += rng.random() < 0.22
        active = [(520_192 + 4, 31, min(occurred, 126))]
        if 1200 <= second < 1500:
            active += [(520_212, 5, 1), (521_900, 14, 2)]
        frames = [(0x18FF1480, count.to_bytes(4, "little") + b"\xff" * 4)]
        frames += dm1_frames(0x80, active)
        frames += [(0x0CF00400, bytes([0xF0, 0x7D, 0x7D, rng.randrange(256), 0x38, 0, 240, 125]))]
        if second % 5 == 0:
            frames += [(0x18FECA26, bytes.fromhex("FFFF00000000FFFF"))]
        if second == 1800:
            out.write("DROPCOUNT: dropped 3 CAN frames on 'can0' socket (total drops 3)\n")
        for i, (identifier, data) in enumerate(frames):
            out.write(f"({stamp}.{i * 60_000:06d}) can0 {identifier:08X}#{data.hex().upper()}\n")
    return out.getvalue()


def dm1_frames(source: int, active: list[tuple[int, int, int]]) -> list[tuple[int, bytes]]:
    """A DM1 in the ISO 11783 flavour: lamp bytes FF; more than one code goes as a broadcast."""
    payload = b"\xff\xff" + b"".join(
        (spn & 0xFFFF).to_bytes(2, "little") + bytes([spn >> 16 << 5 | fmi, count])
        for spn, fmi, count in active
    )
    if len(payload) <= 8:
        return [(0x18FECA00 | source, payload.ljust(8, b"\xff"))]
    packets = -(-len(payload) // 7)
    head = (
        bytes([0x20]) + len(payload).to_bytes(2, "little") + bytes([packets, 0xFF, 0xCA, 0xFE, 0])
    )
    parts = [
        (0x1CEBFF00 | source, bytes([i + 1]) + payload[7 * i : 7 * i + 7].ljust(7, b"\xff"))
        for i in range(packets)
    ]
    return [(0x1CECFF00 | source, head), *parts]


def demo() -> dict[str, str]:
    """Every file's text, by name (compressed ones by the name they get)."""
    return {
        "baler_a_2026.csv.gz": season_csv("Baler A", baler_a(), {}),
        "baler_b_2026.csv.gz": season_csv("Baler B", baler_b(), {}),
        "baler_c_2026.csv.gz": season_csv("Baler C", baler_c(), CONTROLLER_C),
        "baler_c_bus_2026-07-22.log.gz": bus_log(),
    }


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, text in demo().items():
        path = FOLDER / name
        path.write_bytes(gzip.compress(text.encode(), 9, mtime=0))
        print(f"{name}: {text.count(chr(10))} lines, {path.stat().st_size} bytes")


if __name__ == "__main__":
    main()
