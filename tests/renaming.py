"""The shipped rules with other ids: every name that a keeper of the rules may change, changed.

Works on the rule files as data, by what each field means, so that it knows nothing of Python's
use of an id. New ids are drawn without order or likeness to the old ones.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import yaml

from diagnose.knowledge import load_rules, rules_folder
from diagnose.knowledge.roles import Roles, played

KINDS = ("causes", "mechanisms", "signs", "answers", "checks", "settings", "setups", "cautions",
         "codes")  # fmt: skip
Data = dict[str, Any]
BASE = load_rules()


class Renaming:
    """Old id -> new id, by kind; answers by their sign too."""

    def __init__(self, kinds: Iterable[str]) -> None:
        self.kinds, self.back = set(kinds), dict[str, str]()

    def new(self, kind: str, old: str, sign: str = "") -> str:
        if kind not in self.kinds:
            return old
        token = "x" + hashlib.sha256(f"{kind}/{sign}/{old}".encode()).hexdigest()[:9]
        self.back[token] = old
        return token

    def answer(self, sign: str, old: str) -> str:
        return self.new("answers", old, sign)

    def old_text(self, text: str) -> str:
        """A text with the old ids back in it."""
        return re.sub(r"\bx[0-9a-f]{9}\b", lambda m: self.back.get(m[0], m[0]), text)

    def item(self, name: str) -> str:
        """A setting's or a check's new id."""
        return self.new("settings" if name in BASE.settings else "checks", name)

    def target(self, name: str) -> str:
        return self.new("mechanisms" if name in BASE.mechanisms else "causes", name)

    def known(self, case: Data) -> Data:
        """Conditions and what is seen: sign, code or grade -> answers."""
        changed: Data = {}
        for key, given in case.items():
            name, change = self._condition(key)
            changed[name] = [change(a) for a in given] if isinstance(given, list) else change(given)
        return changed

    def bale(self, bale: Data) -> Data:
        """A cause's named bale; its name is a sentence and stays."""
        changed = bale | {"seen": self.known(bale.get("seen", {}))}
        changed["codes"] = [self.new("codes", code) for code in bale.get("codes", [])]
        readings = bale.get("readings", {})
        changed["readings"] = {self.new("settings", s): value for s, value in readings.items()}
        return changed

    def _condition(self, key: str) -> tuple[str, Callable[[str], str]]:
        if key == "code":
            return key, lambda code: self.new("codes", code)
        if key.startswith("grade."):
            return f"grade.{self.new('settings', key[6:])}", str
        return self.new("signs", key), lambda answer: self.answer(key, answer)

    def body(self, kind: str, name: str, body: Data) -> Data:
        """One item of the rule files."""
        changed = dict(body)
        for field, value in body.items():
            if field in ("cautions", "undoes"):
                changed[field] = [self.new("cautions", one) for one in value]
            elif field == "destroys":
                changed[field] = [self.new("signs", one) for one in value]
            elif field == "setup":
                changed[field] = self.new("setups", value)
            elif field == "between":
                changed[field] = [self.new("setups", one) for one in value]
            elif field == "setting":
                changed[field] = self.new("settings", value)
            elif field == "moves":
                changed[field] = [self.new("settings", one) for one in value]
            elif field in ("too_low", "too_high", "finds"):
                changed[field] = self.new("causes", value)
            elif field == "marks":
                changed[field] = self.answer(BASE.roles.since.sign, value)
            elif field == "again":
                changed[field] = [self.item(one) for one in value]
            elif field == "leads":
                changed[field] = {self.new("mechanisms", m): word for m, word in value.items()}
            elif field == "confirms":
                changed[field] = {self.new("causes", c): word for c, word in value.items()}
            elif field in ("usual", "drawn") or (field == "answers" and kind == "signs"):
                changed[field] = {self.answer(name, a): text for a, text in value.items()}
            elif field == "answers":
                sign = name.partition("/")[2]
                changed[field] = {self.answer(sign, a): word for a, word in value.items()}
            elif field == "against":
                changed[field] = [self.answer(name.partition("/")[2], a) for a in value]
            elif field == "bales":
                changed[field] = {title: self.bale(bale) for title, bale in value.items()}
            elif field in ("if", "unless", "then"):
                changed[field] = self.known(value)
        return changed

    def rule(self, name: str) -> str:
        target, slash, sign = name.partition("/")
        return f"{self.target(target)}/{self.new('signs', sign)}" if slash else name

    def document(self, data: Data) -> Data:
        """A whole rule file."""
        changed: Data = {}
        for top, body in data.items():
            if top == "roles":
                changed[top] = self._roles(body)
            elif top == "base":
                sign = BASE.roles.often.sign
                tables = ("failure_rates", "often_limits")
                rates = {t: {self.answer(sign, a): v for a, v in body[t].items()} for t in tables}
                changed[top] = body | rates
            elif top in ("words", "standings", "sources"):
                changed[top] = body
            else:
                rename = self.rule if top == "rules" else lambda name, top=top: self.new(top, name)
                changed[top] = {rename(n): self.body(top, n, one) for n, one in body.items()}
        return changed

    def _roles(self, body: Data) -> Data:
        changed: Data = {}
        for role in played(Roles.model_validate(body)):
            at = changed
            for part in role.path[:-1]:
                at = at.setdefault(part, {})
            kind = role.kind
            new = self.answer(role.sign, role.id) if kind == "answers" else self.new(kind, role.id)
            at[role.path[-1]] = new
        return changed


def write_renamed(folder: Path, kinds: Iterable[str] = KINDS) -> Renaming:
    """Write the shipped rules with the ids of these kinds renamed into `folder`."""
    renaming, shipped = Renaming(kinds), rules_folder()
    for path in sorted(shipped.rglob("*.yaml")):
        data = yaml.safe_load(path.read_text(encoding="utf-8"))
        there = folder / path.relative_to(shipped)
        there.parent.mkdir(parents=True, exist_ok=True)
        text = yaml.safe_dump(renaming.document(data), sort_keys=False, allow_unicode=True)
        there.write_text(text, encoding="utf-8")
    return renaming


def renamed_truth(renaming: Renaming, truth: Data) -> Data:
    """What was wrong with a bale of the demo, in the new ids."""
    looks = {}
    for sign, seen in truth["looks"].items():
        new = renaming.new("signs", sign)
        if isinstance(seen, dict):
            looks[new] = {knotter: renaming.answer(sign, a) for knotter, a in seen.items()}
        else:
            looks[new] = renaming.answer(sign, seen)
    changed = truth | {"looks": looks}
    changed["faults"] = [renaming.new("causes", cause) for cause in truth["faults"]]
    readings = truth.get("readings", {})
    changed["readings"] = {renaming.new("settings", s): r for s, r in readings.items()}
    done = truth.get("set", {})
    changed["set"] = {renaming.new("causes", cause): how for cause, how in done.items()}
    return changed


def renamed_machine(renaming: Renaming, machine: Data) -> Data:
    """A machine file in the new ids."""
    changed = dict(machine)
    for section in ("tolerances", "adjusters", "springs"):
        if section in machine:
            changed[section] = {
                renaming.new("settings", name): body for name, body in machine[section].items()
            }
    return changed


def renamed_codes(renaming: Renaming, table: Data) -> Data:
    """A code table in the new ids; the logs keep the old codes, so these are mapped too."""

    def meaning(entry: Any) -> Any:
        if isinstance(entry, str):
            return renaming.new("codes", entry)
        changed = dict(entry)
        if "code" in entry:
            changed["code"] = renaming.new("codes", entry["code"])
        if "sign" in entry:
            changed["sign"] = renaming.new("signs", entry["sign"])
            changed["answer"] = renaming.answer(entry["sign"], entry["answer"])
        return changed

    codes = {code: renaming.new("codes", code) for code in BASE.codes}
    codes |= {code: meaning(entry) for code, entry in table["codes"].items()}
    bus = table["bus"] | {"codes": [meaning(entry) for entry in table["bus"]["codes"]]}
    return table | {"codes": codes, "bus": bus}
