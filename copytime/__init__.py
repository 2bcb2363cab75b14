"""copytime: times how fast files really move to and from storage drives.

As a library::

    from copytime import Options, qualify

    found = qualify("/mnt/drive", Options(brief=True))
    for result in found.results:
        print(result.direction, result.rate / 1e6, "MB/s")

Nothing is printed or asked; progress comes through a callback. Errors are children of CopytimeError.
"""

from __future__ import annotations

from copytime._version import __version__

#: As type checkers know it; while ``typing`` is loaded here, nobody can catch Ctrl-C (see __main__).
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from copytime.errors import CopytimeError
    from copytime.records import (
        Access,
        Direction,
        Durability,
        Mismatch,
        Part,
        Pass,
        Progress,
        Qualification,
        Result,
        Trace,
        Verdict,
        Witness,
        Workload,
    )
    from copytime.visits.options import Options
    from copytime.visits.qualify import qualify
    from copytime.visits.sustain import Sustain, sustain

#: Public name -> the module that holds it. Loaded when first asked for, so that importing copytime costs nothing.
_HOME = {
    "CopytimeError": "copytime.errors",
    "Options": "copytime.visits.options",
    "Sustain": "copytime.visits.sustain",
    "qualify": "copytime.visits.qualify",
    "sustain": "copytime.visits.sustain",
    **dict.fromkeys(
        (
            "Access",
            "Direction",
            "Durability",
            "Mismatch",
            "Part",
            "Pass",
            "Progress",
            "Qualification",
            "Result",
            "Trace",
            "Verdict",
            "Witness",
            "Workload",
        ),
        "copytime.records",
    ),
}

__all__ = [
    "Access",
    "CopytimeError",
    "Direction",
    "Durability",
    "Mismatch",
    "Options",
    "Part",
    "Pass",
    "Progress",
    "Qualification",
    "Result",
    "Sustain",
    "Trace",
    "Verdict",
    "Witness",
    "Workload",
    "__version__",
    "qualify",
    "sustain",
]


def __getattr__(name: str) -> Any:
    """Load a public name from its home (PEP 562)."""
    if name in _HOME:
        import importlib

        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module 'copytime' has no attribute '{name}'")
