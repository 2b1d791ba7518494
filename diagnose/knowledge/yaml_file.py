"""Reading YAML and JSON with the line of every key kept. The only module that knows yaml."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from diagnose.errors import InputError, Place

try:
    from yaml import CSafeLoader as Loader
except ImportError:  # PyYAML built without libyaml reads the same, only slower
    from yaml import SafeLoader as Loader  # type: ignore[assignment]

KeyPath = tuple[Hashable, ...]


@dataclass
class Document:
    """Plain data, the line of each key path, and the faults met while reading."""

    path: Path
    data: Any
    lines: dict[KeyPath, int] = field(default_factory=dict)
    faults: list[InputError] = field(default_factory=list)

    def place(self, key_path: KeyPath) -> Place:
        """The place of a key path, or of its nearest ancestor that stands in the file."""
        for length in range(len(key_path), 0, -1):
            if key_path[:length] in self.lines:
                return Place(self.path, self.lines[key_path[:length]], key_path)
        return Place(self.path, 1, key_path)


def read_yaml(path: Path) -> Document:
    """Read one YAML (or JSON, which is YAML) document.

    Raises InputError when the file cannot be read or is not YAML. Duplicate keys are
    collected in `faults`, for the caller to report together with its own.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"not UTF-8 text (byte {error.start}); save it as UTF-8", Place(path)
        ) from None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", Place(path)) from None
    return parse_yaml(text, path)


def parse_yaml(text: str, path: Path) -> Document:
    """As `read_yaml`, from text already in memory; `path` is what messages name."""
    document = Document(path, None)
    loader = Loader(text)
    try:
        node = loader.get_single_node()
        if node is not None:
            document.data = _plain(node, (), document, loader, frozenset())
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else 0
        raise InputError(
            f"not valid YAML: {error.problem or error.context}", Place(path, line)
        ) from None
    except yaml.YAMLError as error:
        raise InputError(f"not valid YAML: {error}", Place(path)) from None
    except (ValueError, RecursionError) as error:
        raise InputError(f"not valid YAML: {error}", Place(path)) from None
    finally:
        loader.dispose()
    return document


def _plain(
    node: yaml.Node, at: KeyPath, document: Document, loader: Any, open_nodes: frozenset[int]
) -> Any:
    if id(node) in open_nodes:
        raise ValueError("a part that contains itself")
    inside = open_nodes | {id(node)}
    document.lines.setdefault(at, node.start_mark.line + 1)
    if isinstance(node, yaml.MappingNode):
        mapping: dict[Hashable, Any] = {}
        for key_node, value_node in node.value:
            key = loader.construct_object(key_node, deep=True)
            if not isinstance(key, Hashable):
                raise ValueError(f"a key that is a list or a mapping (line {at})")
            line = key_node.start_mark.line + 1
            if key in mapping:
                document.faults.append(
                    InputError(
                        f"'{key}' stands twice here, first on line {document.lines[(*at, key)]}",
                        Place(document.path, line),
                    )
                )
                continue
            document.lines[(*at, key)] = line
            mapping[key] = _plain(value_node, (*at, key), document, loader, inside)
        return mapping
    if isinstance(node, yaml.SequenceNode):
        return [
            _plain(item, (*at, index), document, loader, inside)
            for index, item in enumerate(node.value)
        ]
    return loader.construct_object(node, deep=True)


def dump_yaml(data: Any) -> str:
    """Plain data as YAML in the order given, unicode kept, 80 columns."""
    text: str = yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=80)
    return text
