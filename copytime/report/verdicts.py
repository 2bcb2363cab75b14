"""Verdicts as text: a line for each workload and direction, and what several have in common said once.

A verdict is stored as sentences that each stand for themselves; here the words that differ only by the row are taken out.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from copytime.records import Direction, Verdict, Workload
from copytime.report.layout import WIDTH, wrapped
from copytime.safetext import plain

__all__ = ["verdict_lines"]

#: What a sentence begins with, the word in front of its line, and what its line begins with, in the order of the lines.
_KINDS = (
    ("Cleared: ", "cleared", ""),
    ("Provisionally cleared: ", "cleared", "provisionally "),
    ("", "known", ""),
    ("Still possible: ", "possible", ""),
    ("It would be overturned if ", "unless", ""),
    ("Next: ", "next", ""),
    ("This assumes ", "assumes", ""),
)

_PAYLOADS = {Workload.LARGE: "large", Workload.SUSTAIN: "large", Workload.SMALL: "small", Workload.COPY: "mixed"}
_WAYS = {Direction.TO_DRIVE: "to the drive", Direction.FROM_DRIVE: "from the drive"}

#: What a flag is called where its own words do not say it.
_FLAGS = {
    "capped-by-bridge": "capped by the bridge",
    "capped-by-link": "capped by the link",
    "may-have-fallen-back": "may have fallen back: try another cable, then another port",
    "inner-may-have-fallen-back": "the link behind the bridge may have fallen back: try another bridge",
}

#: Longest sentence that is shown, in characters.
_LONGEST = 600


def verdict_lines(verdicts: Sequence[Verdict], width: int = WIDTH) -> list[str]:
    """Say who sets the pace, on what that rests, and what would settle or overturn it."""
    heads = [f"{one.workload} {one.direction}" for one in verdicts]
    room = max(map(len, heads), default=0)
    # of several payloads that come to the same, one line will do; of those that do not, the rate tells which is which
    unlike = {(head, _first(one)): one for head, one in zip(heads, verdicts, strict=True)}
    count = Counter(head for head, _ in unlike)
    lines: list[str] = []
    before: dict[str, str] = {}
    for (head, said), one in unlike.items():
        rate = f"at {one.sentences[0].partition(',')[0]}: " if count[head] > 1 and one.sentences else ""
        shown = f"as {before[said]}" if said in before else said
        before.setdefault(said, head)
        lines += wrapped(f"{rate}{shown}", f"{'' if lines else 'pace':<10}{head:<{room}}  ", width)
    return lines + _common(heads, verdicts, width)


def _first(one: Verdict) -> str:
    """Say who it is; the rate stands in the table, and the direction in front of the line."""
    said = one.sentences[0].partition(": ")[2] if one.sentences else ""
    flags = [_FLAGS.get(flag, flag.replace("-", " ")) for flag in one.flags]
    return "; ".join([plain(said or one.certainty, limit=_LONGEST).removesuffix("."), *map(plain, flags)])


def _common(heads: Sequence[str], verdicts: Sequence[Verdict], width: int) -> list[str]:
    """Say the rest once, with the rows that it is about where it is not about all that can be judged."""
    found: dict[tuple[int, str], list[str]] = {}
    for head, one in zip(heads, verdicts, strict=True):
        for sentence in one.sentences[1:]:
            kind = _kind(sentence)
            if _KINDS[kind][1] == "possible" and one.certainty != "combination":
                continue  # the first line has named them
            said = _without_row(sentence.removeprefix(_KINDS[kind][0]), one)
            rows = found.setdefault((kind, said), [])
            if head not in rows:
                rows.append(head)
    open_ones = list(dict.fromkeys(head for head, one in zip(heads, verdicts, strict=True) if len(one.sentences) > 1))
    lines: list[str] = []
    last = ""
    for (kind, said), rows in sorted(found.items(), key=lambda pair: pair[0][0]):
        _, word, begins = _KINDS[kind]
        about = "" if rows == open_ones else f"{', '.join(rows)}: "
        text = f"{about}{begins}{plain(said, limit=_LONGEST)}".removesuffix(".")
        lines += wrapped(text, f"{'' if word == last else word:<10}", width)
        last = word
    return lines


def _kind(sentence: str) -> int:
    """Find out what kind of sentence it is; what begins like no other tells of a part that several results share."""
    other = next(number for number, (begins, _, _) in enumerate(_KINDS) if not begins)
    known = (number for number, (begins, _, _) in enumerate(_KINDS) if begins and sentence.startswith(begins))
    return next(known, other)


def _without_row(sentence: str, one: Verdict) -> str:
    """Take out of a sentence what says no more than the row that it is about."""
    what = f"{_PAYLOADS[one.workload]} files {_WAYS[one.direction]}"
    said = sentence.replace(f", {what}", "").replace(f"measure {what}", "measure it")
    return re.sub(rf" {one.workload} {one.direction} of (?=\d{{4}}-)", " of ", said)
