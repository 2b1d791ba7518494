"""From a folder of YAML files to one checked `Knowledge`; all faults are told at once."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, get_args

import platformdirs
from pydantic import BaseModel, TypeAdapter, ValidationError

from diagnose.errors import InputError, InputFaultsError, Place, nearest
from diagnose.knowledge import model
from diagnose.knowledge.references import wrong_references
from diagnose.knowledge.roles import Roles
from diagnose.knowledge.yaml_file import Document, KeyPath, read_yaml

ITEM_KINDS: dict[str, type[BaseModel]] = {
    "sources": model.Source,
    "cautions": model.Caution,
    "setups": model.Setup,
    "moves": model.Move,
    "mechanisms": model.Mechanism,
    "signs": model.Sign,
    "settings": model.Setting,
    "causes": model.Cause,
    "checks": model.Check,
    "shows": model.Shows,
    "means": model.Means,
    "codes": model.Code,
}
"""Every kind of item. In the files `rules` holds both `shows` and `means`, told apart by `/`."""
_HEADS: dict[str, TypeAdapter[Any]] = {
    "base": TypeAdapter(model.Base),
    "roles": TypeAdapter(Roles),
    "words": TypeAdapter(dict[str, float]),
    "standings": TypeAdapter(dict[str, tuple[float, str]]),
}
TOP_KEYS = (*_HEADS, *(kind for kind in ITEM_KINDS if kind not in ("shows", "means")), "rules")


@dataclass
class _Draft:
    """What has been read so far."""

    items: dict[str, dict[str, Any]] = field(default_factory=lambda: {k: {} for k in ITEM_KINDS})
    heads: dict[str, Any] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    lines: dict[str, tuple[Document, KeyPath]] = field(default_factory=dict)
    faults: list[InputError] = field(default_factory=list)
    own: set[str] = field(default_factory=set)
    """Keys of items that stand in the folder of own rules."""


def rules_folder() -> Path:
    """The rule base that ships with the program: inside the package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    packaged = package / "_rules"
    return packaged if packaged.is_dir() else package.parent / "rules"


def own_rules_folder() -> Path:
    """Where somebody's own rules lie: on top of the shipped ones, untouched by an update."""
    return platformdirs.user_config_path("tying-fault-diagnosis") / "rules"


def load_rules(folder: Path | None = None, own: Path | None = None) -> model.Knowledge:
    """Read and check a whole rule base, with the rules of the folder `own` on top of it.

    An own item is added, or stands in the place of the item that has its id.
    Raises InputFaultsError with every fault found, each as `file:line: what is wrong`.
    """
    root = folder or rules_folder()
    paths = _rule_files(root)
    on_top = _rule_files(own) if own else []
    draft, digest = _Draft(), hashlib.sha256()
    for path in (*paths, *on_top):
        try:
            document = read_yaml(path)
        except InputError as fault:
            draft.faults.append(fault)
            continue
        digest.update(path.read_bytes())
        draft.faults += document.faults
        _take_in(document, draft, is_own=path in on_top)
    for missing in _HEADS.keys() - draft.heads.keys():
        draft.faults.append(InputError(f"no file has a top-level '{missing}:'", Place(root)))
    if not draft.faults:
        parts: dict[str, Any] = {**draft.heads, **draft.items}
        knowledge = model.Knowledge(**parts, places=draft.places, digest=digest.hexdigest()[:12],
                                    own=frozenset(draft.own))  # fmt: skip
        draft.faults += [
            InputError(what, _place(draft, key, path))
            for key, path, what in wrong_references(knowledge)
        ]
        if not draft.faults:
            return knowledge
    raise InputFaultsError(draft.faults)


def chosen_rules(folder: Path | None) -> model.Knowledge:
    """The rules a command works with: those of `folder` alone, where one is named; else the
    shipped ones, with own rules on top where there are any."""
    own = own_rules_folder()
    return load_rules(folder, own if folder is None and own.is_dir() else None)


def _rule_files(folder: Path) -> list[Path]:
    paths = sorted(folder.rglob("*.yaml")) if folder.is_dir() else []
    if not paths:
        what = "holds no rule files (*.yaml); name a folder of rules"
        raise InputFaultsError([InputError(what, Place(folder))])
    return paths


def _place(draft: _Draft, key: str, path: KeyPath) -> Place:
    if key not in draft.lines:
        return Place("rules")
    document, start = draft.lines[key]
    return document.place((*start, *path))


def _take_in(document: Document, draft: _Draft, is_own: bool) -> None:
    if not isinstance(document.data, dict):
        draft.faults.append(
            InputError("should hold a mapping such as 'causes:'", Place(document.path, 1))
        )
        return
    for top, body in document.data.items():
        if top not in TOP_KEYS:
            draft.faults.append(
                InputError(
                    f"unknown key '{top}'{nearest(str(top), TOP_KEYS)}", document.place((top,))
                )
            )
        elif top in _HEADS and is_own:
            what = f"'{top}' belongs to the shipped rules; own rules hold items such as 'causes:'"
            draft.faults.append(InputError(what, document.place((top,))))
        elif top in _HEADS:
            _take_head(document, top, body, draft)
        elif not isinstance(body, dict):
            draft.faults.append(
                InputError(f"'{top}' should map ids to their bodies", document.place((top,)))
            )
        else:
            for name, fields in body.items():
                _take_item(document, top, str(name), fields, draft, is_own)


def _take_head(document: Document, top: str, body: Any, draft: _Draft) -> None:
    if top in draft.heads:
        draft.faults.append(InputError(f"'{top}' stands in two files", document.place((top,))))
        return
    try:
        draft.heads[top] = _HEADS[top].validate_python(body)
    except ValidationError as error:
        schema = Roles if top == "roles" else model.Base
        draft.faults += faults_of(error, document, (top,), schema)
        return
    draft.lines[top] = (document, (top,))


def _take_item(
    document: Document, top: str, name: str, fields: Any, draft: _Draft, is_own: bool
) -> None:
    kind = ("shows" if "/" in name else "means") if top == "rules" else top
    key = f"{kind}:{name}"
    if name in draft.items[kind] and is_own == (key in draft.own):
        draft.faults.append(
            InputError(
                f"'{name}' stands twice in '{top}', first at {draft.places[key].line_of_file}",
                document.place((top, name)),
            )
        )
        return
    draft.own |= {key} if is_own else set()
    draft.places[key] = document.place((top, name))
    draft.lines[key] = (document, (top, name))
    try:
        item = draft.items[kind][name] = ITEM_KINDS[kind].model_validate(fields)
        for bale in getattr(item, "bales", ()):
            draft.places[f"{key}.bales.{bale}"] = document.place((top, name, "bales", bale))
    except ValidationError as error:
        draft.faults += faults_of(error, document, (top, name), ITEM_KINDS[kind])


def faults_of(
    error: ValidationError, document: Document, at: KeyPath, schema: type[BaseModel]
) -> Iterator[InputError]:
    """A pydantic error as faults with their places, in plain words."""
    for detail in error.errors():
        path = tuple(detail["loc"])
        fields = _schema_at(schema, path[:-1]).model_fields
        known = {field.alias or name for name, field in fields.items()}
        match detail["type"]:
            case "extra_forbidden":
                what = f"unknown key '{path[-1]}'{nearest(str(path[-1]), known)}"
            case "missing":
                what = f"'{path[-1]}' is missing"
            case _:
                message = detail["msg"].removeprefix("Value error, ")
                given = detail["input"]
                shown = "" if isinstance(given, dict | list) else f" (given: {given!r})"
                what = f"{message[0].lower()}{message[1:]}{shown}"
        yield InputError(what, document.place((*at, *path)))


def _schema_at(schema: type[BaseModel], path: KeyPath) -> type[BaseModel]:
    """The model that a path leads to, through optional fields, dicts and lists of models."""
    for part in path:
        field = schema.model_fields.get(str(part))
        schema = next(_models(field.annotation), schema) if field else schema
    return schema


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models(inner)
