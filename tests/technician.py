"""A technician who knows what is really wrong, and answers whatever the session asks.

`python -m tests.technician` walks the demo's bales again and writes what was typed, the saved
case and the record of each beside its truth, and the session of the README.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from diagnose.bale.answers import check_answers
from diagnose.bale.dialogue import Dialogue
from diagnose.bale.record import write_record
from diagnose.bale.saving import save_case
from diagnose.case import Case
from diagnose.files import write_whole
from diagnose.knowledge import Knowledge, load_rules
from diagnose.knowledge.yaml_file import read_yaml
from diagnose.machine.profile import read_machine, with_manual
from diagnose.session import Diagnosis, Reasoner, Step

DEMO = Path(__file__).parent.parent / "casebook_demo" / "bales"
README = DEMO.parent.parent / "README.md"
README_BALE = DEMO / "2_no_tie_at_all.truth.yaml"
DATES = {"1": (2026, 7, 23), "2": (2026, 8, 9), "3": (2026, 7, 30)}
TRIES = 3
"""Clean ties before it fails again, where a second fault is left."""


class Technician:
    """Console of a dialogue: reads the open step from it and types the true answer."""

    def __init__(self, truth: dict[str, Any]) -> None:
        self.truth = truth
        self.faults = list(truth["faults"])
        self.dialogue: Dialogue | None = None
        self.step: Step | None = None
        self.typed: list[str] = []
        self.screen: list[str] = []

    def say(self, lines: list[str]) -> None:
        self.screen += lines

    def ask(self, prompt: str) -> str:
        assert self.step is not None
        assert self.dialogue is not None
        text = self._answer(self.dialogue.base, self.step)
        self.typed.append(text)
        self.screen.append(prompt + text)
        return text

    def _answer(self, base: Knowledge, step: Step) -> str:
        match step.kind:
            case "safe":
                return "y"
            case "ask":
                return self._look(base, step.id)
            case "check":
                return self._check(base, step)
            case "mend":
                return str(self.truth.get("set", {}).get(step.id, ""))
            case "prove":
                if step.id in self.faults:
                    self.faults.remove(step.id)
                return f"{TRIES} f" if self.faults else str(step.bales)
        return "s"

    def _look(self, base: Knowledge, sign: str) -> str:
        answers = list(base.signs[sign].answers)
        seen = self.truth["looks"].get(sign)
        if seen is None:
            return "d"
        if isinstance(seen, dict):
            return " ".join(f"{k}={answers.index(a) + 1}" for k, a in seen.items())
        return str(answers.index(seen) + 1)

    def _check(self, base: Knowledge, step: Step) -> str:
        readings = self.truth.get("readings", {}).get(step.setting)
        if readings:
            return " ".join(f"{knotter}={value}" for knotter, value in readings.items())
        results = list(check_answers(base, step.id))
        found = next((fault for fault in self.faults if fault in results), None)
        return str(results.index(found) + 1)


class Watched(Dialogue):
    """A dialogue whose technician sees the step that is put."""

    def _step(self, diagnosis: Diagnosis) -> Step:
        step = super()._step(diagnosis)
        assert isinstance(self.console, Technician)
        self.console.step, self.console.dialogue = step, self
        return step


def clock(start: datetime) -> Any:
    """A clock that goes on by two minutes each time it is read."""
    times = (start + timedelta(minutes=2 * i) for i in range(100_000))
    return lambda: next(times)


def walk(truth_path: Path, base: Knowledge) -> tuple[Technician, Dialogue, Diagnosis]:
    """Walk one bale of the demo to its end."""
    truth = read_yaml(truth_path).data
    machine = read_machine((truth_path.parent / truth["machine"]).resolve(), base)
    technician = Technician(truth)
    name = truth_path.name.partition(".")[0]
    start = datetime(*DATES[name[0]], 14, 5, tzinfo=UTC)
    case = Case(id=name, rules=base.base.version, machine=machine.in_case(), opened=start)
    dialogue = Watched(
        Reasoner(with_manual(base, machine)), case, technician, lambda _: None,
        machine=machine, now=clock(start),
    )  # fmt: skip
    return technician, dialogue, dialogue.run()


def session_block(technician: Technician) -> str:
    """The session of the README, between its marks."""
    screen = "\n".join(technician.screen).strip("\n")
    return f"<!-- session -->\n```\n{screen}\n```\n<!-- /session -->"


def put_into_readme(technician: Technician) -> None:
    text = README.read_text(encoding="utf-8")
    before, _, rest = text.partition("<!-- session -->")
    _, _, after = rest.partition("<!-- /session -->")
    write_whole(README, before + session_block(technician) + after)


def main() -> None:
    base = load_rules()
    for truth_path in sorted(DEMO.glob("*.truth.yaml")):
        technician, dialogue, diagnosis = walk(truth_path, base)
        stem = truth_path.parent / truth_path.name.removesuffix(".truth.yaml")
        write_whole(Path(f"{stem}.typed"), "\n".join(technician.typed) + "\n")
        save_case(dialogue.case, Path(f"{stem}.json"))
        write_record(dialogue.base, diagnosis, Path(f"{stem}.txt"))
        if truth_path == README_BALE:
            put_into_readme(technician)
        step = diagnosis.step
        print(f"{stem.name}: {step.kind} {step.id}, {len(technician.typed)} lines typed")


if __name__ == "__main__":
    main()
