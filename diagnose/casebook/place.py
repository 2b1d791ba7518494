"""Where the casebook is when nobody says. Apart from the store, whose library loads slowly."""

from __future__ import annotations

from pathlib import Path

import platformdirs


def default_path() -> Path:
    """The casebook in the user's data folder."""
    return platformdirs.user_data_path("tying-fault-diagnosis") / "casebook.db"
