"""The words of the rule base as frozen data. Nothing here reads a file.

A cause leads to a mechanism, and a mechanism (or the cause itself) shows signs.
Strengths are frequency words; `Knowledge.words` holds their published values.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Annotated, Literal

from pydantic import Field, PositiveFloat, PositiveInt, model_validator

from diagnose.errors import Place
from diagnose.knowledge.item import BasisField, Id, Item, Word
from diagnose.knowledge.links import Links, links_of
from diagnose.knowledge.roles import Roles

Known = dict[str, str | list[str]]
"""Answers known, by sign: one answer id, or several when it is one of them."""


class Base(Item):
    """The head of the rule base."""

    name: str
    version: str
    call_minutes: PositiveFloat
    """Cost of giving up and calling someone, in minutes; ends every search."""
    failure_rates: dict[Id, Annotated[float, Field(gt=0, lt=1)]]
    """Answer of how often -> share of trials that fail, for the proof."""
    often_limits: dict[Id, tuple[float, float]] = {}
    """Answer of how often -> the shares of bad bales of a log that it stands for."""
    usual_knotters: PositiveInt = 6
    """Knotters of a machine that nobody told of. Judgement."""
    basis: BasisField


class Source(Item):
    """A published source and how far it was read."""

    title: str
    where: str
    read: Literal["read in the source", "from memory", "abstract only"]


class Confirm(Item):
    """What has to be confirmed before an act: a word to type, and what it stands for."""

    word: Id
    said: str


class Caution(Item):
    """What can hurt someone, and what to do first."""

    name: str
    danger: str
    first: str
    once: bool = False
    """Told once in full; the others are named again at every act they belong to."""
    confirm: Confirm | None = None
    undoes: list[Id] = []
    """Cautions whose precaution an act with this one takes off, to be taken anew after it."""
    basis: BasisField


class Setup(Item):
    """Where the technician stands and what position the machine is in."""

    name: str
    how: str
    cautions: list[Id] = []
    destroys: list[Id] = []
    """Signs that can no longer be looked at once the machine has been brought into it."""
    basis: BasisField
    start: bool = False
    """The setup a search begins in."""


class Move(Item):
    """Minutes to change from one setup to another, the same both ways."""

    between: tuple[Id, Id]
    minutes: PositiveFloat
    basis: BasisField


class Mechanism(Item):
    """What physically went wrong at one bad tie."""

    name: str
    story: str
    basis: BasisField


class Sign(Item):
    """Something to see, ask, feel or read, with named answers."""

    ask: str
    look: str
    answers: dict[Id, str] = Field(min_length=2)
    scope: Literal["tie", "knotter", "bale"]
    """What an answer is about: the tie that failed, and the next one is looked at afresh; the
    knotter with its needle and twine, whose answer stays; or bale, machine and day as a whole."""
    minutes: PositiveFloat
    setup: Id
    cautions: list[Id] = []
    """Of the look itself; those of its setup come first."""
    destroys: list[Id] = []
    """Other signs that this look wipes, pulls or turns away."""
    basis: BasisField
    drawn: dict[Id, list[str]] = {}
    """Answer -> a drawing in plain characters."""
    usual: dict[Id, Word] = {}
    """How it reads where no rule speaks of it: what is not at fault looks well. Empty: alike."""
    first: int | None = None
    """Place among the opening questions, asked in this order before anything is weighed."""


class Setting(Item):
    """One measured setting and its tolerance."""

    name: str
    part: str
    unit: Literal["mm", "N", "deg"]
    nominal: float
    band: tuple[float, float]
    example: bool = False
    """Nominal and band differ from machine to machine: one machine's figures, not everybody's."""
    gauge: PositiveFloat
    """Uncertainty of the usual instrument, plus or minus, in `unit`."""
    where: str
    per: Literal["knotter", "machine"] = "knotter"
    too_low: Id | None = None
    too_high: Id | None = None
    more: str
    """What is seen when the value grows, e.g. `the spring gets longer`."""
    less: str
    adjuster: bool = True
    """Set by turning something; else the part is timed, bent or replaced, as its cause says."""
    moves: list[Id] = []
    """Settings that move when this one is adjusted, to be measured again."""
    basis: BasisField
    band_basis: BasisField
    note: str | None = None


class Bale(Item):
    """A bale that a technician would know a cause by: what is told, and how the cause stands then.

    It is run like any case. Either `rank`, at that place or before it, or `not_among` the first.
    """

    seen: Known = {}
    codes: list[Id] = []
    readings: dict[Id, float] = {}
    """Setting -> what was measured, in the setting's unit."""
    rank: PositiveInt | None = None
    odds: float = Field(default=1, ge=1)
    """So many times as likely as the next suspect after `rank`."""
    not_among: PositiveInt | None = None

    @model_validator(mode="after")
    def _says_one_thing(self) -> Bale:
        if (self.rank is None) is (self.not_among is None):
            raise ValueError("say how the cause stands: either 'rank' or 'not_among'")
        if self.rank is None and "odds" in self.model_fields_set:
            raise ValueError("'odds' goes with 'rank'")
        if not (self.seen or self.codes or self.readings):
            raise ValueError("nothing is told of this bale: name what is 'seen'")
        return self


class Cause(Item):
    """A fault of a part, a setting, the twine or the crop."""

    name: str
    part: str
    common: Word
    trial: Literal["cycle", "strand", "each_strand"]
    """What counts once for the proof: a cycle with all its strands, the cycle of the strand that
    failed, or every strand of a cycle by itself, where strands fail independently."""
    leads: dict[Id, Word] = Field(min_length=1)
    why: str
    basis: BasisField
    mend: str
    cautions: list[Id] = []
    """Of setting it right, besides those of the check that found it."""
    again: list[Id] = []
    """Settings or checks to go through again after mending."""
    bales: dict[str, Bale] = {}
    """A sentence that names it -> the bale."""


class Check(Item):
    """An act at the machine that confirms or clears causes."""

    do: str
    tool: str
    setup: Id
    minutes: PositiveFloat
    people: PositiveInt = 1
    per: Literal["knotter", "machine"] = "knotter"
    """Done at one knotter, or once for the whole machine."""
    confirms: dict[Id, Word] = Field(min_length=1)
    """Cause, and how often this check overlooks it."""
    setting: Id | None = None
    cautions: list[Id] = []
    destroys: list[Id] = []
    """Signs that can no longer be looked at once it is done."""
    basis: BasisField


class Shows(Item):
    """A mechanism or a cause shows a sign. The rule's id is `target/sign`.

    Its strongest answer has to be likelier under its target than with other faults.
    """

    answers: dict[Id, Word] = Field(min_length=1)
    against: tuple[Id, ...] = ()
    """Answers named because they are rarer here than elsewhere; proved to be."""
    basis: BasisField
    why: str


class Means(Item):
    """What is known together means something more: conditions to a derived answer.

    Conditions name a sign, `code` (a logged code) or `grade.SETTING` (low, in, high).
    """

    if_: Known = Field(alias="if", min_length=1)
    unless: Known = {}
    then: dict[Id, Id] = Field(min_length=1)
    basis: BasisField
    why: str


class Code(Item):
    """One of the tool's own codes, to which every logged code is brought first."""

    says: str
    kind: Literal["tie", "bale", "count", "mark"]
    normal: float = Field(default=0, ge=0)
    """Events in a thousand ties (kind tie) or bales that are everyday work."""
    finds: Id | None = None
    """Cause that the code reports by itself: the controller has tested its own circuit."""
    bad_tie: bool = False
    """A tie went wrong; of a sensor's own fault, how often it comes says nothing of the ties."""
    marks: Id | None = None
    """Of a mark: the answer of since-when that a change beside it may have come with."""
    basis: BasisField


@dataclass(frozen=True)
class Knowledge:
    """A whole rule base, checked. Dicts keep the order of the files."""

    base: Base
    roles: Roles
    words: dict[Word, float]
    standings: dict[str, tuple[float, str]]
    """Standing word -> (least chance, definition), strongest first."""
    sources: dict[str, Source]
    cautions: dict[str, Caution]
    setups: dict[str, Setup]
    moves: dict[str, Move]
    mechanisms: dict[str, Mechanism]
    signs: dict[str, Sign]
    settings: dict[str, Setting]
    causes: dict[str, Cause]
    checks: dict[str, Check]
    shows: dict[str, Shows]
    means: dict[str, Means]
    codes: dict[str, Code]
    places: dict[str, Place] = field(default_factory=dict, compare=False)
    """`kind:id` -> where it stands."""
    digest: str = ""
    """Fingerprint of the rule files' contents."""
    own: frozenset[str] = frozenset()
    """`kind:id` of what somebody's own rules added or put in the place of a shipped item."""

    @cached_property
    def links(self) -> Links:
        """What belongs together, worked out once."""
        return links_of(self.shows, self.settings, self.causes, self.checks)

    @property
    def version(self) -> str:
        """The rules' version, own ones counted."""
        return f"{self.base.version} with {len(self.own)} own" if self.own else self.base.version

    @property
    def start_setup(self) -> str:
        return next(name for name, setup in self.setups.items() if setup.start)
