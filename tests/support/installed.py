"""An installation of the program as pip makes one, for what depends on it: how fast it starts and what it loads.

The one that tests run in is mostly an editable one: its finder loads modules of its own before anything else runs, and
nothing in it is compiled where the environment forbids that (PYTHONDONTWRITEBYTECODE).
"""

from __future__ import annotations

import compileall
import importlib.util
import os
import shutil
import sys
import sysconfig
import venv
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Installed", "installed"]

#: Packages that the program needs, but for numpy, which is large and which nothing loads to start.
PACKAGES = ("click", "copytime", "psutil", "tabulate", "tqdm")

#: Variables that would change what an interpreter loads, or how it starts.
_OTHERS = ("PYTHON", "COPYTIME_", "COVERAGE")


@dataclass(frozen=True)
class Installed:
    """One installation: what runs a line of Python in it, and what runs the program."""

    home: Path

    @property
    def python(self) -> Path:
        """Its interpreter."""
        return self.home / ("Scripts" if os.name == "nt" else "bin") / Path(sys.executable).name

    def program(self, *arguments: str) -> list[str]:
        """Return the command that runs the program, by the same script as pip writes."""
        return [str(self.python), str(self.python.with_name("copytime-script.py")), *arguments]

    def click(self) -> list[str]:
        """Return the command that start-up is measured by."""
        return [str(self.python), "-c", "import click"]

    @staticmethod
    def environment() -> dict[str, str]:
        """Return an environment that starts every process in the same way."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith(_OTHERS)}
        return {**kept, "PYTHONHASHSEED": "0"}


def installed(home: Path) -> Installed:
    """Install this package and what it needs to start under ``home``, compiled; needs neither network nor pip."""
    venv.create(home, with_pip=False)
    made = Installed(home)
    library = Path(sysconfig.get_path("purelib", scheme=_scheme(), vars={"base": str(home), "platbase": str(home)}))
    for name in PACKAGES:
        found = importlib.util.find_spec(name)
        assert found is not None, name
        assert found.origin is not None, name
        if found.submodule_search_locations is None:
            shutil.copy(found.origin, library)
        else:
            shutil.copytree(Path(found.origin).parent, library / name, ignore=shutil.ignore_patterns("__pycache__"))
    compileall.compile_dir(library, quiet=1)
    Path(made.program()[1]).write_text(
        "import re\nimport sys\nfrom copytime.cli import main\nif __name__ == '__main__':\n"
        "    sys.argv[0] = re.sub(r'(-script\\.pyw|\\.exe)?$', '', sys.argv[0])\n    sys.exit(main())\n",
        encoding="utf-8",
    )
    return made


def _scheme() -> str:
    return "venv" if "venv" in sysconfig.get_scheme_names() else sysconfig.get_default_scheme()
