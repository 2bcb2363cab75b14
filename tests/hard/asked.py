"""Every command of the program with what it is asked here, and the form that its answer has.

``{words}`` in braces are filled in: a folder, a file to be made, ids out of the logbook. A command that is missing here
makes ``tests/hard/test_text.py`` fail; its options are found by themselves.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["ASKED", "Asked", "filled"]


@dataclass(frozen=True, slots=True)
class Asked:
    """One call: its words, the form of its answer, and whether it changes the logbook."""

    words: tuple[str, ...]
    form: str = "text"
    writes: bool = False


def _reads(*words: str, form: str = "text") -> Asked:
    return Asked(words, form)


def _writes(*words: str, form: str = "text") -> Asked:
    return Asked(words, form, writes=True)


_COMPARED = ("--direction", "to-drive", "--host", "Harbour 4")

ASKED: dict[str, tuple[Asked, ...]] = {
    "drives": (_reads("drives"), _reads("drives", "--csv", form="csv"), _reads("drives", "--json", form="json")),
    "links": (
        _reads("links", "usb3.2-gen1x1"),
        _reads("links", "--csv", form="csv"),
        _reads("links", "--json", form="json"),
    ),
    "selfcheck": (_reads("selfcheck", "{folder}", "--dry-run"),),
    "qualify": (
        _reads("qualify", "{folder}", "--dry-run"),
        _reads("qualify", "{folder}", "--dry-run", "--drive", "Full drive", "--bridge", "Full bridge", "--for", "Full host"),
    ),
    "sustain": (_reads("sustain", "{folder}", "--dry-run"),),
    "copy": (_reads("copy", "{file}", "{folder}", "--dry-run"), _reads("copy", "{file}", "{folder}", "--predict")),
    "watch": (_reads("watch", "{nothing}"),),
    "rate": (_reads("rate", "88 GB", "21:07"), _reads("rate", "88 GB", "21:07", "--json", form="json")),
    "kit list": (
        _reads("kit", "list", "--all", "--personal"),
        _reads("kit", "list", "--all", "--personal", "--csv", form="csv"),
        _reads("kit", "list", "--all", "--personal", "--json", form="json"),
        _reads("kit", "list", "--all", "--personal", "--toml", form="toml"),
    ),
    "kit show": (_reads("kit", "show", "Full drive"), _reads("kit", "show", "Full drive", "--json", form="json")),
    "kit add drive": (_writes("kit", "add", "drive", "{name}"),),
    "kit add bridge": (_writes("kit", "add", "bridge", "{name}"),),
    "kit add cable": (_writes("kit", "add", "cable", "{name}"),),
    "kit add host": (_writes("kit", "add", "host", "{name}"),),
    "kit change drive": (_writes("kit", "change", "drive", "Full drive", "--remark", "x"),),
    "kit change bridge": (_writes("kit", "change", "bridge", "Full bridge", "--remark", "x"),),
    "kit change cable": (_writes("kit", "change", "cable", "Full cable", "--remark", "x"),),
    "kit change host": (_writes("kit", "change", "host", "Full host", "--remark", "x"),),
    "kit retire": (_writes("kit", "retire", "Full cable"),),
    "note copy": (
        _writes("note", "copy", "to-drive", "88 GB", "21:07"),
        _writes("note", "copy", "to-drive", "88 GB", "21:07", "--json", form="json"),
    ),
    "note load": (_writes("note", "load", "town square", "43.18"),),
    "note fault": (_writes("note", "fault", "refused"),),
    "plan": (
        _reads("plan", "--drive", "Slipway", "--drive", "Quayside One", "--host", "Harbour 4", "--payload", "Big One=88GB"),
        _reads(
            *("plan", "--drive", "Slipway", "--drive", "Quayside One", "--host", "Harbour 4", "--payload", "Big One=88GB"),
            "--csv",
            form="csv",
        ),
        _reads(
            *("plan", "--drive", "Slipway", "--drive", "Quayside One", "--host", "Harbour 4", "--payload", "Big One=88GB"),
            "--json",
            form="json",
        ),
    ),
    "import": (_writes("import", "{sheet}"), _reads("import", "{sheet}", "--dry-run"), _writes("import", "{other}")),
    "export": (
        _reads("export", "--personal", form="csv"),
        _reads("export", "--passes", "--personal", form="csv"),
        _reads("export", "--json", "--personal", form="json"),
    ),
    "compare": (
        _reads("compare", *_COMPARED),
        _reads("compare", *_COMPARED, "--csv", form="csv"),
        _reads("compare", *_COMPARED, "--json", form="json"),
        _reads("compare", "--scene", "town square"),
    ),
    "reconcile": (
        _reads("reconcile"),
        _reads("reconcile", "--csv", form="csv"),
        _reads("reconcile", "--json", form="json"),
        _reads("reconcile", "--host", "Harbour 4"),
    ),
    "report": (
        _reads("report", "--personal", form="markdown"),
        _reads("report", "--format", "html", "--no-charts", "--personal", form="html"),
        _reads("report", "--format", "csv", "--personal", form="csv"),
    ),
    "chart": (
        _reads("chart"),
        _reads("chart", "loads", "--personal", "-o", "{made}.svg", form="svg"),
        _reads("chart", "history", "--personal", "-o", "{made}.svg", form="svg"),
        _reads("chart", "rates", "--personal", "-o", "{made}.png", "--width", "640", form="png"),
    ),
    "log": (
        _reads("log"),
        _reads("log", "--csv", form="csv"),
        _reads("log", "--notes", "--csv", form="csv"),
        _reads("log", "--json", form="json"),
    ),
    "log show": (
        _reads("log", "show", "{entry}"),
        _reads("log", "show", "{entry}", "--json", form="json"),
        _reads("log", "show", "{stream}"),
        _reads("log", "show", "{note}"),
        _reads("log", "show", "{note}", "--json", form="json"),
        _reads("log", "show", "{changed}"),
    ),
    "log amend": (_writes("log", "amend", "{note}", "--set", "remark=x"),),
    "log strike": (
        _writes("log", "strike", "{note}", "--reason", "x"),
        _writes("log", "strike", "{entry}", "--reason", "x"),
    ),
    "logbook path": (_reads("logbook", "path"),),
    "logbook check": (_reads("logbook", "check"),),
    "logbook backup": (_reads("logbook", "backup", "{made}"),),
    "logbook merge": (_writes("logbook", "merge", "{other}"),),
    "tidy": (_reads("tidy"), _reads("tidy", "--json", form="json"), _writes("tidy", "--yes")),
    "explain": (_reads("explain", "margin"), _reads("explain", "--json", form="json")),
    "demo": (_reads("demo", "{made}"),),
}


def filled(asked: Asked, names: Mapping[str, str]) -> list[str]:
    """Fill in the words in braces."""
    return [re.sub(r"\{(\w+)\}", lambda found: names[found[1]], word) for word in asked.words]
