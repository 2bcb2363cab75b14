"""Campaigns at an invented console whose truth is known, to count how often a verdict is right."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from copytime.analysis.capping import Model
from copytime.analysis.evidence import Observation
from copytime.notes import Note
from copytime.records import Direction
from copytime.visits.reconciling import reconcile
from tests.support.bench import READ, WRITE, result
from tests.support.campaigns import copies

__all__ = ["Campaign", "Tally", "campaign", "setters_of", "tally", "time_text"]

#: Size of every copy, in bytes.
_SIZE = 102e9


@dataclass(frozen=True)
class Campaign:
    """One campaign: notes, PC results, and what is true of it.

    ``setters`` are the parts (names) that really hold each drive, each alone able to explain its rate within 5 %; ``hard``
    tells that days or slips are rough. ``figure`` is the cap in bytes per second or the added seconds per byte.
    """

    notes: list[Note]
    measured: list[Observation]
    direction: Direction
    model: Model
    figure: float
    setters: dict[str, set[str]]
    hard: bool
    determined: bool


def campaign(seed: int) -> Campaign:
    """Make a campaign: caps and added times half and half, two to four drives of different speeds, one to three visits."""
    rng = random.Random(seed)
    hard = seed % 2 == 1
    model = Model.CAP if seed % 4 < 2 else Model.ADDS
    direction = rng.choice((READ, WRITE))
    figure = math.exp(rng.uniform(math.log(90e6), math.log(350e6))) if model is Model.CAP else rng.uniform(0.8e-9, 6e-9)
    days = rng.randint(1, 3)
    repeats = rng.randint(1, 5)
    drives = [f"Drive {letter}" for letter in "ABCD"[: rng.randint(2, 4)]]
    rates = {name: math.exp(rng.uniform(math.log(110e6), math.log(1000e6))) for name in drives}
    slower_here = rng.choice(drives) if hard and rng.random() < 0.5 else None  # another protocol than on the PC
    fell_back = rng.choice(drives) if hard and rng.random() < 0.25 else None
    day_sd = rng.choice((0.005, 0.01, 0.02)) if not hard else rng.choice((0.01, 0.02, 0.03))
    day_effect = [rng.gauss(0, day_sd) for _ in range(days)]
    notes, measured, setters = [], [], {}
    for name in drives:
        own = rates[name]
        here = own * rng.uniform(0.6, 0.9) if name == slower_here else own
        chain = min(here, 38e6) if name == fell_back else here
        truth = min(chain, figure) if model is Model.CAP else 1 / (1 / chain + figure)
        setters[name] = setters_of(name, model, figure, here, fallen=name == fell_back, changed=name == slower_here)
        for day in range(days):
            visit_effect = rng.gauss(0, day_sd)
            times = []
            for _ in range(repeats):
                seconds = _SIZE / truth * math.exp(day_effect[day] + visit_effect + rng.gauss(0, 0.004)) + rng.gauss(0, 0.15)
                if rng.random() < 0.02:
                    seconds = _mistyped(seconds, rng)
                times.append(time_text(seconds))
            more = {"bridge": f"Bridge {name[-1]}", "made": f"2026-11-{10 + day}"}
            notes += [copies(name, direction, time, **more) for time in times]
        for visit in range(3):
            rate = own * math.exp(rng.gauss(0, 0.01)) / 1e6
            measured.append(
                result(
                    f"{name} on the PC, visit {visit}",
                    rate,
                    drive=name,
                    bridge=f"Bridge {name[-1]}",
                    host="the bench PC",
                    direction=direction,
                    visits=(f"{name} {visit}",),
                    u=0.003,
                )
            )
    held = [name for name in drives if setters[name] == {"Harbour 4"}]
    owns = [rates[name] for name in held]
    determined = len(held) >= 2 and max(owns) / min(owns) >= 1.5 and model is Model.CAP
    return Campaign(notes, measured, direction, model, figure, setters, hard, determined)


def setters_of(name: str, model: Model, figure: float, here: float, *, fallen: bool, changed: bool) -> set[str]:
    """Name the parts that may rightly be said to set the pace."""
    bridge = f"Bridge {name[-1]}"
    if model is Model.ADDS:
        return {"both"}
    if fallen:
        return {bridge, "link"}
    if here < figure / 1.05:
        return {bridge, name} if changed else {name, bridge}
    return {"Harbour 4"} if here > figure * 1.05 else {"Harbour 4", name, bridge}


def _mistyped(seconds: float, rng: random.Random) -> float:
    """Swap two digits, lose one, or mistake minutes for hours."""
    return rng.choice((seconds * 10, seconds / 10, seconds * 60, seconds + 60 * rng.randint(2, 9), seconds + 600))


def time_text(seconds: float) -> str:
    whole = max(1, round(seconds))
    return f"{whole // 60}:{whole % 60:02d}" if whole < 6000 else f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


@dataclass
class Tally:
    """What many campaigns come to."""

    campaigns: int = 0
    firm: dict[bool, int] = field(default_factory=lambda: {True: 0, False: 0})
    firm_right: dict[bool, int] = field(default_factory=lambda: {True: 0, False: 0})
    named: int = 0
    named_right: int = 0
    results: int = 0
    determined: int = 0
    reached: int = 0
    adding: int = 0
    adds_shown: int = 0
    models_shown: int = 0
    models_right: int = 0
    covered: int = 0
    widths: list[float] = field(default_factory=list)
    wrong: list[int] = field(default_factory=list)

    def rates(self) -> dict[str, float]:
        """The shares that matter, between 0 and 1; -1 where nothing was counted."""

        def share(part: float, whole: float) -> float:
            return part / whole if whole else -1.0

        return {
            "firm right": share(sum(self.firm_right.values()), sum(self.firm.values())),
            "firm right, hard half": share(self.firm_right[True], self.firm[True]),
            "firm of all results": share(sum(self.firm.values()), self.results),
            "named right, provisional too": share(self.named_right, self.named),
            "named of all results": share(self.named, self.results),
            "named where determined": share(self.reached, self.determined),
            "adding shown where true": share(self.adds_shown, self.adding),
            "models right": share(self.models_right, self.models_shown),
            "margins cover": share(self.covered, self.models_right),
            "median half width": sorted(self.widths)[len(self.widths) // 2] if self.widths else -1.0,
        }


def tally(seeds: range) -> Tally:
    """Judge many campaigns and count."""
    made = Tally()
    for seed in seeds:
        _count(campaign(seed), made, seed)
    return made


def _count(one: Campaign, made: Tally, seed: int) -> None:
    found = reconcile(one.notes, (), one.measured)
    made.campaigns += 1
    host_named = False
    for each in found.results:
        if each.doubts:
            continue
        made.results += 1
        judgement = each.judgement
        right = one.setters[each.note.drive or ""]
        said = "both" if judgement.in_turn else judgement.pace_setter.name if judgement.pace_setter else None
        if said is None:
            continue
        made.named += 1
        # with times that add, the host and the drive both take part: naming the larger share is not wrong as such
        good = said in right
        made.named_right += good
        host_named |= said == "Harbour 4"
        if judgement.certainty.value in ("by-elimination", "at-ceiling") or judgement.in_turn:
            made.firm[one.hard] += 1
            made.firm_right[one.hard] += good
            if not good:
                made.wrong.append(seed)
    if one.determined:
        made.determined += 1
        made.reached += host_named
    shown = [each for each in found.shared if each.shown and each.part.name == "Harbour 4" and each.shared is not None]
    if one.model is Model.ADDS:
        made.adding += 1
        made.adds_shown += any(each.shared is not None and each.shared.model is Model.ADDS for each in shown)
    for part in shown:
        model = part.shared
        if model is None or model.figure is None or model.low is None or model.high is None:
            continue
        made.models_shown += 1
        if model.model is one.model:
            made.models_right += 1
            made.covered += model.low <= one.figure <= model.high
            made.widths.append((model.high - model.low) / 2 / model.figure)
        else:
            made.wrong.append(seed)
