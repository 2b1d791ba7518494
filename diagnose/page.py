"""Pages to keep or print: one file each, no network, black and white, A4. jinja2 lives here."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined


def render(template: str, **values: Any) -> str:
    """A page from a template named from the package's folder, e.g. `bale/record.html`.

    Everything put in is escaped. Templates extend `page.html`, which holds the print style.
    """
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(template).render(**values)
