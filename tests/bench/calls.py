"""How far one typed answer reaches through the code, in README's session.

Run as `python -m tests.bench.calls`. Counted are calls of our own functions whose caller stands
in another file of `diagnose/`, for one answer in the middle of the session, reasoner ready.
"""

from __future__ import annotations

import sys
from pathlib import Path
from types import FrameType

from diagnose.bale.dialogue import Dialogue
from diagnose.knowledge import load_rules
from tests.technician import README_BALE, walk

PACKAGE = str(Path(__file__).parent.parent.parent / "diagnose")
ANSWER = 2
"""Which typed answer is counted, from 0; the first ones are made safe and what hangs there."""


class Counter:
    """Calls between files while it is on."""

    def __init__(self) -> None:
        self.calls: list[tuple[str, str, str]] = []

    def __call__(self, frame: FrameType, event: str, _: object) -> None:
        back, file = frame.f_back, frame.f_code.co_filename
        if event != "call" or back is None or not file.startswith(PACKAGE):
            return
        caller = back.f_code.co_filename
        if caller.startswith(PACKAGE) and caller != file:
            self.calls.append((caller, file, frame.f_code.co_qualname))


def main() -> None:
    counter, turn = Counter(), [0]
    hear = Dialogue._hear

    def counted(self: Dialogue, *args: object) -> None:
        on = turn[0] == ANSWER
        turn[0] += 1
        hear(self, *args)  # type: ignore[arg-type]
        if on:
            sys.setprofile(counter)
        elif turn[0] == ANSWER + 2:
            sys.setprofile(None)

    Dialogue._hear = counted  # type: ignore[method-assign]
    walk(README_BALE, load_rules())
    sys.setprofile(None)
    files = {file for caller, callee, _ in counter.calls for file in (caller, callee)}
    print(f"calls from one file to another for one typed answer: {len(counter.calls)}")
    print(f"of them different: {len(set(counter.calls))}")
    print(f"files they lie in: {len(files)}")


if __name__ == "__main__":
    main()
