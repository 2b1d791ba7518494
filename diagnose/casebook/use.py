"""What a session has of a casebook: it is taught by it, and ends in it.

The store is imported where it is opened: a session without a casebook has no need to wait for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.case import Case
from diagnose.casebook.place import default_path
from diagnose.knowledge.model import Knowledge
from diagnose.session import Reasoner

if TYPE_CHECKING:
    from diagnose.casebook.store import Added


def reasoner_taught(
    base: Knowledge, place: str | None, machine_type: str | None, learning: bool
) -> Reasoner:
    """The rules with what the casebook has taught; without one, the rules alone.

    `place` None is the casebook in the user's data folder, if there is one. Raises StoreError.
    """
    reasoner = Reasoner(base)
    if not learning or (place is None and not default_path().exists()):
        return reasoner
    from diagnose.casebook.learning import taught
    from diagnose.casebook.store import Casebook

    with Casebook(place) as casebook:
        return taught(reasoner, casebook.confirmed(), machine_type)


def keep(case: Case, place: str | None) -> Added:
    """Put a case into the casebook, which is made if there is none. Raises StoreError."""
    from diagnose.casebook.store import Casebook, record

    with Casebook(place) as casebook:
        return record(case, casebook)
