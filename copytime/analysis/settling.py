"""Of all tests that are proposed, the one that would remove most doubt, as something that can be typed."""

from __future__ import annotations

import shlex
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from copytime.analysis.elimination import Certainty
from copytime.analysis.reconciled import Reconciled
from copytime.units import size_text

__all__ = ["NextTest", "best_test"]

_OPEN = (Certainty.UNDECIDED, Certainty.PROVISIONAL, Certainty.COMBINATION)


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTest:
    """A test in words, the command that takes it down, how long it will take in seconds, and how many results it helps."""

    words: str
    command: str
    seconds: float
    helps: int


def best_test(results: Iterable[Reconciled]) -> NextTest | None:
    """Choose the test of the result whose suspects are those of most other open results; None where nothing is open.

    What is wholly undecided goes before what is provisional.
    """
    left = [one for one in results if one.judgement.certainty in _OPEN and one.judgement.next_test and not one.doubts]
    if not left:
        return None
    suspected = Counter(
        (one.note.direction, part.kind, part.name) for one in left for part in one.judgement.suspects if part.kind != "drive"
    )

    def helped(one: Reconciled) -> int:
        return max((suspected[one.note.direction, part.kind, part.name] for part in one.judgement.suspects), default=0)

    chosen = max(left, key=lambda one: (one.judgement.certainty is Certainty.UNDECIDED, helped(one), one.rate))
    words = chosen.judgement.next_test or ""
    return NextTest(
        words=words,
        command=_command(chosen, words),
        seconds=chosen.size_bytes / chosen.rate,
        helps=max(1, helped(chosen)),
    )


def _command(one: Reconciled, words: str) -> str:
    """Write the command that takes the test down. What is swapped stands in capitals, to be filled in."""
    note = one.note
    if words.startswith("a long stream"):
        return f"copytime sustain FOLDER --size {shlex.quote(size_text(one.size_bytes).replace(' ', ''))}"
    swaps = {
        "drive": "a drive that is" in words,
        "host": "another host" in words,
        "bridge": "another bridge" in words,
        "cable": "another cable" in words,
        "port": "another port" in words,
    }
    given = [("payload", note.payload)]
    given += [(name, getattr(note, name)) for name in ("host", "port", "cable", "bridge", "drive")]
    typed = [
        f"--{name} {f'OTHER-{name.upper()}' if swaps.get(name) else shlex.quote(str(value))}"
        for name, value in given
        if value or swaps.get(name)
    ]
    return f"copytime note copy {note.direction} {shlex.quote(note.size_text or 'SIZE')} --live {' '.join(typed)}"
