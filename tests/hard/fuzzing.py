"""Coverage-guided fuzzing of one target for a while: ``python -m tests.hard.fuzzing TARGET [libFuzzer's own options]``.

``python -m tests.hard fuzz`` starts it once for each target. It needs the package atheris (the extra ``fuzz``).
"""

from __future__ import annotations

import importlib
import sys
from typing import Any


def main() -> None:
    """Instrument the package, then hand the target over; this does not return."""
    atheris: Any = importlib.import_module("atheris")  # it comes without types
    with atheris.instrument_imports(include=["copytime"]):
        from tests.hard.targets import TARGETS
    target = TARGETS[sys.argv[1]]
    atheris.Setup([sys.argv[0], *sys.argv[2:]], target.check)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
