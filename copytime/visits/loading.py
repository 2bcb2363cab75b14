"""Loading times: what part of them falls with the speed of the drive, and what a hard disk costs."""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from copytime.analysis.compare import Comparison, Estimate, Outcome, compare
from copytime.analysis.evidence import Observation
from copytime.analysis.groups import Group, estimate_of, margin_of, repeat_spread
from copytime.analysis.reconciled import Loaded, Loading
from copytime.analysis.visits import BetweenVisits
from copytime.notes import KitItem, KitKind, Note, NoteKind
from copytime.records import Direction, Workload
from copytime.visits.comparing import without_slips
from copytime.visits.known_parts import turns
from copytime.visits.members import is_exact, member_of
from copytime.visits.registered import Register

__all__ = ["fit_halves", "fixed_and_read", "loadings", "own_reads", "two_hosts"]

#: Half of a 95 % interval in standard uncertainties (normal distribution).
_K = 1.959963984540054

_Key = tuple[str, str, str | None]


def loadings(
    several: Iterable[Note],
    between: BetweenVisits,
    kit: Sequence[KitItem] = (),
    own: Mapping[str, float] | None = None,
) -> tuple[Loading, ...]:
    """Put loading times together by scene, host and start; slips of the pen are left out.

    ``between`` is how visits differ as the whole logbook teaches it, copies included, so that a load has the margin here
    that a comparison gives it. ``own`` is how fast each drive reads, in bytes per second.
    """
    made = []
    register = Register(kit)
    for (scene, host, state), drives in _estimates(several, between).items():
        loaded = [_loaded(name, estimate, register) for name, estimate in drives.items()]
        loaded.sort(key=lambda one: one.seconds)
        solid = [one.drive for one in loaded if one.turns is False]
        disks = [one.drive for one in loaded if one.turns]
        others = [compare(drives[solid[0]], drives[name]) for name in solid[1:]]
        fit, halves = None, None
        if own:
            read = [one for one in loaded if one.drive in own]
            times = [(one.seconds, own[one.drive]) for one in read]
            fit = fixed_and_read(times)
            if fit is not None:
                errors = [math.log(one.high / one.low) / 2 / _K for one in read]
                halves = fit_halves(times, fit, errors, between.spread.sd)
        made.append(
            Loading(
                scene=scene,
                host=host,
                state=state,
                drives=tuple(loaded),
                alike=all(one.outcome is not Outcome.DIFFERS for one in others) if others else None,
                disk=compare(drives[solid[0]], drives[disks[0]]) if solid and disks else None,
                fixed_s=fit[0] if fit else None,
                read_bytes=fit[1] if fit else None,
                halves=halves,
            )
        )
    return tuple(made)


def two_hosts(several: Iterable[Note], between: BetweenVisits) -> list[tuple[str, str, str, str, Comparison]]:
    """Compare the same drive and scene at two hosts: scene, drive, first host, second host, and the comparison.

    ``between`` is as for ``loadings``.
    """
    found: dict[tuple[str, str | None, str], list[tuple[str, Estimate]]] = defaultdict(list)
    for (scene, host, state), drives in _estimates(several, between).items():
        for drive, estimate in drives.items():
            found[scene, state, drive].append((host, estimate))
    made = []
    for (scene, _, drive), hosts in found.items():
        for (first, one), (second, other) in itertools.pairwise(hosts):
            made.append((scene, drive, first, second, compare(one, other)))
    return made


def _estimates(several: Iterable[Note], between: BetweenVisits) -> dict[_Key, dict[str, Estimate]]:
    timed = [
        one for one in several if one.counts and one.kind is NoteKind.LOAD and one.scene and one.drive and is_exact(one)
    ]
    loads, _ = without_slips([timed])
    groups: dict[_Key, dict[str, list[Note]]] = defaultdict(lambda: defaultdict(list))
    for one in loads:
        groups[one.scene or "", one.host or "", one.state][one.drive or ""].append(one)
    named = {
        key: {drive: Group(name=drive, members=tuple(member_of(one) for one in notes)) for drive, notes in drives.items()}
        for key, drives in groups.items()
    }
    spreads = {key: repeat_spread(drives.values()) for key, drives in named.items()}  # as a comparison of these pools them
    return {
        key: {drive: estimate_of(group, spreads[key], between) for drive, group in drives.items()}
        for key, drives in named.items()
    }


def _loaded(name: str, estimate: Estimate, kit: Register) -> Loaded:
    seconds = math.exp(estimate.log_mean)
    low, high = margin_of(estimate).interval(seconds)
    spins = turns(kit.find(KitKind.DRIVE, name))
    return Loaded(drive=name, seconds=seconds, low=low, high=high, repeats=estimate.repeats, turns=spins)


def fixed_and_read(several: Sequence[tuple[float, float]]) -> tuple[float, float] | None:
    """Fit seconds = fixed + bytes / rate to (seconds, rate) of three drives or more, by least squares of relative errors.

    Both are never below zero. None where the drives are too few or all alike.
    """
    if len(several) < 3 or max(rate for _, rate in several) < 1.5 * min(rate for _, rate in several):
        return None
    rows = [(1 / seconds, 1 / (rate * seconds)) for seconds, rate in several]  # relative: each should come to 1
    aa, ab, bb = (math.fsum(x * y for x, y in pairs) for pairs in (
        [(a, a) for a, _ in rows], rows, [(b, b) for _, b in rows]))  # fmt: skip
    a, b = math.fsum(a for a, _ in rows), math.fsum(b for _, b in rows)
    det = aa * bb - ab * ab
    fixed, read = (a * bb - b * ab) / det, (aa * b - ab * a) / det
    if read < 0:
        return a / aa, 0.0
    return (0.0, b / bb) if fixed < 0 else (fixed, read)


def fit_halves(
    several: Sequence[tuple[float, float]], fit: tuple[float, float], errors: Sequence[float], own_u: float
) -> tuple[float, float] | None:
    """Return halves of the 95 % intervals of what fixed_and_read found, None where one of the two is zero.

    ``errors`` are relative standard uncertainties of the times, ``own_u`` that of each drive's rate. They are carried
    through the fit to first order (GUM 5.1.2, Eq. 10).
    """
    fixed, read = fit
    if fixed <= 0 or read <= 0:
        return None
    rows = [(1 / seconds, 1 / (rate * seconds)) for seconds, rate in several]
    aa, ab, bb = (math.fsum(x * y for x, y in pairs) for pairs in (
        [(a, a) for a, _ in rows], rows, [(b, b) for _, b in rows]))  # fmt: skip
    det = aa * bb - ab * ab
    of_fixed = of_read = 0.0
    for (a, b), u in zip(rows, errors, strict=True):
        square = u**2 + (own_u * read * b) ** 2  # what a drive takes to read is as badly known as its rate
        of_fixed += ((a * bb - b * ab) / det) ** 2 * square
        of_read += ((b * aa - a * ab) / det) ** 2 * square
    return _K * math.sqrt(of_fixed), _K * math.sqrt(of_read)


def own_reads(known: Iterable[Observation]) -> dict[str, float]:
    """Return how fast each drive reads large files by itself, in bytes per second; measured goes before rated."""
    best: dict[str, Observation] = {}
    for one in known:
        drive = one.part_of("drive")
        if drive is None or one.direction is not Direction.FROM_DRIVE or one.workload is not Workload.LARGE:
            continue
        old = best.get(drive.name)
        if old is None or (not one.rated, one.rate) > (not old.rated, old.rate):
            best[drive.name] = one
    return {name: one.rate for name, one in best.items()}
