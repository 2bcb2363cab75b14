"""What a verdict means for somebody who is about to buy a drive for a host."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from copytime.analysis.capping import Model, predicted
from copytime.analysis.compare import Outcome, compare
from copytime.analysis.many import confidence_of_each
from copytime.analysis.reconciled import Buying, Gain, Reconciled, Reconciliation
from copytime.analysis.shared import SharedPart
from copytime.notes import KitItem, KitKind
from copytime.records import Direction

__all__ = ["FASTER", "buying", "model_of"]

#: How much faster than the fastest noted one the drive is that is imagined.
FASTER = 2.0

_TB = 10**12


def buying(found: Reconciliation, kit: Sequence[KitItem], size_bytes: int | None = None) -> tuple[Buying, ...]:
    """Work out for each host which drives are among the fastest, the cheapest of them, and what a faster one would gain.

    ``size_bytes`` is the copy to reckon with, else the largest that was noted.
    """
    hosts = dict.fromkeys(one.note.host for one in found.results if one.note.host)
    hosts.update(dict.fromkeys(one.host for one in found.faults if one.host))
    here: dict[str | None, list[Reconciled]] = defaultdict(list)
    for one in found.results:
        if not one.doubts:
            here[one.note.host].append(one)
    return tuple(_at(host, here[host], found, kit, size_bytes) for host in hosts if host)


def _at(
    host: str, here: Sequence[Reconciled], found: Reconciliation, kit: Sequence[KitItem], size_bytes: int | None
) -> Buying:
    lists = []
    for direction in Direction:
        best = _best_of_each([one for one in here if one.note.direction is direction])
        if len(best) > 1:
            first = best[0].judgement.observation.estimate
            sure = confidence_of_each(len(best))  # the best of many was looked for: no good drive is left out by chance
            slower = [
                one.note.drive or ""
                for one in best[1:]
                if compare(first, one.judgement.observation.estimate, confidence=sure).outcome is Outcome.DIFFERS
            ]
            late = frozenset(slower)
            lists.append((direction, tuple(d for one in best if (d := one.note.drive or "") not in late), tuple(slower)))
    quick = [frozenset(fast) for _, fast, _ in lists]
    in_all = [name for name in (lists[0][1] if lists else ()) if all(name in fast for fast in quick)]
    gains = []
    for shared in found.shared:
        if shared.part.kind == "host" and shared.part.name == host:
            gain = _gain(shared, here, size_bytes)
            if gain is not None:
                gains.append(gain)
    failed = {one.drive for one in found.faults if one.host in (host, None)}  # of no host noted: it may be this one
    faults = Counter(_chain(one.drive, one.bridge) for one in found.faults if one.host == host)
    return Buying(
        host=host,
        as_fast=tuple(lists),
        in_all=tuple(in_all),
        cheapest=_cheapest([name for name in in_all if name not in failed], kit),
        gains=tuple(gains),
        faulty=tuple(faults.most_common()),
    )


def _chain(drive: str | None, bridge: str | None) -> str:
    return f"{drive or 'a drive that was not noted'}{f' through {bridge}' if bridge else ''}"


def _best_of_each(several: Iterable[Reconciled]) -> list[Reconciled]:
    """Return each drive's fastest result, the fastest first; only of the payload kind that most results have."""
    by_kind: dict[object, list[Reconciled]] = defaultdict(list)
    for one in several:
        by_kind[one.note.payload_kind].append(one)
    best: dict[str | None, Reconciled] = {}
    for one in max(by_kind.values(), key=len, default=[]):
        if one.note.drive not in best or one.rate > best[one.note.drive].rate:
            best[one.note.drive] = one
    return sorted(best.values(), key=lambda one: -one.rate)


def _cheapest(names: Iterable[str], kit: Sequence[KitItem]) -> tuple[str, float, str] | None:
    """Find the drive that costs least per TB; None where no price is known or currencies differ."""
    prices = []
    drives = {one.name: one for one in reversed(kit) if one.kind is KitKind.DRIVE}
    for name in names:
        item = drives.get(name)
        about = item.about if item is not None else {}
        price, capacity = about.get("price"), about.get("capacity")
        if isinstance(capacity, int) and capacity > 0 and isinstance(price, str):
            prices.append((float(price) * _TB / capacity, name, str(about.get("currency", ""))))
    if not prices or len({currency for _, _, currency in prices}) > 1:
        return None
    price, name, currency = min(prices)
    return name, price, currency


def model_of(shared: SharedPart) -> Model:
    """Return how a part acts; of one that only lone results name that is open."""
    return Model.OPEN if shared.shared is None else shared.shared.model


def _gain(shared: SharedPart, here: Sequence[Reconciled], size_bytes: int | None) -> Gain | None:
    """Reckon what a drive FASTER times as fast as the fastest of those behind the finding would take."""
    shown = frozenset(shared.shown_by)
    behind = [one for one in here if one.judgement.observation.id in shown and one.own is not None]
    if not behind:
        return None
    best = max(behind, key=lambda one: one.rate)
    own = max(one.own.rate for one in behind if one.own is not None) * FASTER
    size = size_bytes or max(one.size_bytes for one in behind)
    if shared.shared is not None:
        low, high = predicted(shared.shared, own)
    else:
        added = max(0.0, 1 / best.rate - 1 / best.own.rate) if best.own is not None else 0.0
        low, high = sorted((min(own, best.rate), 1 / (1 / own + added)))
    return Gain(
        part=shared.part.name,
        direction=shared.direction,
        model=model_of(shared).value,
        own=own,
        size_bytes=size,
        now_s=size / best.rate,
        quickest_s=size / high,
        slowest_s=size / low,
    )
