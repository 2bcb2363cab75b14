"""Which notes are one group, which groups are compared, and what else differs between the two: like with like.

Notes of one drive at two hosts, or through two bridges, are no repeats of each other: their mean would depend on how many
there happen to be of each, and its margin would be that of nothing that was ever measured.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

from copytime.notes import Note, NoteKind, PayloadKind
from copytime.safetext import plain

__all__ = ["BY", "Groups"]

#: What groups can be made by.
BY = ("drive", "bridge", "cable", "host", "port", "date", "month")

#: Parts of the way that split a group in which they are not all the same, in this order, and how the group is then called.
_APART = {"drive": "{}", "host": "at {}", "port": "port {}", "bridge": "through {}", "cable": "cable {}"}

#: What must be the same on both sides of a comparison where there are such groups, unless groups are made by it.
_ALIKE = ("drive", "host")

#: What should be the same as well; where it is not, that is said.
_SHOULD = (*_APART, "system", "fill", "moved", "payload")


class Groups:
    """Notes of copies in one direction, or of loads of one scene, put into groups ``by`` one of BY.

    ``named`` are the groups with their notes, in the order in which they were first met, and ``alike`` what must be the same
    of two groups that are compared, besides start or payload, and is not the same of all.
    """

    def __init__(self, several: Sequence[Note], by: str) -> None:
        self.by = by
        self._fields = tuple(name for name in _APART if name != by)
        self.alike = tuple(name for name in _ALIKE if name != by and len({getattr(one, name) for one in several}) > 1)
        self._seen: dict[tuple[object, ...], set[str | None]] = defaultdict(set)
        for one in several:
            for path, value in self._way(one):
                self._seen[path].add(value)
        states = len({one.state for one in several if one.kind is NoteKind.LOAD}) > 1
        payloads = len({one.payload_kind for one in several if one.kind is NoteKind.COPY}) > 1
        named: dict[str, list[Note]] = defaultdict(list)
        for one in several:
            name = self.called(one)
            if states:
                name += f", {one.state or 'state not noted'}"
            if payloads:
                name += f", {one.payload_kind if one.payload_kind is not PayloadKind.UNKNOWN else 'payload not noted'}"
            named[name].append(one)
        self.named: Mapping[str, list[Note]] = dict(named)

    def chain(self, one: Note) -> str:
        """Name what a note would belong to if nothing were told apart."""
        if self.by in ("date", "month"):
            return one.made[: 10 if self.by == "date" else 7]
        return getattr(one, self.by) or f"(no {self.by} noted)"

    def _way(self, one: Note) -> Iterable[tuple[tuple[object, ...], str | None]]:
        """Give for each part of a note's way its place, that is all parts before it, and its name."""
        path: tuple[object, ...] = (self.chain(one),)
        for name in self._fields:
            value = getattr(one, name)
            yield path, value
            path = (*path, value)

    def called(self, one: Note) -> str:
        """Name the group that a note belongs to, by what tells it from others of its chain; but for state and payload."""
        words = [self.chain(one)]
        for name, (path, value) in zip(self._fields, self._way(one), strict=True):
            if len(self._seen.get(path, ())) > 1:
                words.append(_APART[name].format(value) if value else f"no {name} noted")
        return ", ".join(words)

    def faults(self, failed: Iterable[Note]) -> tuple[Counter[str], list[str]]:
        """Count faults beside the groups of the chain that failed, and say of which chains there is nothing else.

        What a fault does not say may be any: then it stands beside each group that it may belong to, and that is said. One
        of another host, or through another bridge, than all times of its chain stands beside none of them.
        """
        found: Counter[str] = Counter()
        alone: Counter[str] = Counter()
        shared = set()
        chains: dict[str, list[str]] = defaultdict(list)
        for name, notes in self.named.items():
            chains[self.chain(notes[0])].append(name)
        for one in failed:
            fitting = [name for name in chains.get(self.chain(one), ()) if self._may_be(one, self.named[name])]
            found.update(fitting)
            if not fitting:
                alone[self._failed(one)] += 1
            elif len(fitting) > 1:
                shared.add(self.chain(one))
        said = [
            f"{plain(chain, limit=50)} has {count} {'fault' if count == 1 else 'faults'} and no time to compare"
            for chain, count in alone.items()
        ]
        if shared:
            names = ", ".join(plain(chain, limit=50) for chain in sorted(shared))
            said.append(
                f"the faults of {names} stand beside each group of the same {self.by}: they may belong to any of them"
            )
        return found, said

    def _failed(self, fault: Note) -> str:
        """Name what a fault belongs to that stands beside no group: by the first part of its way that no time has."""
        words = [self.chain(fault)]
        for name, (path, value) in zip(self._fields, self._way(fault), strict=True):
            seen = self._seen.get(path, set())
            new = value is not None and value not in seen
            if value is not None and (new or len(seen) > 1):
                words.append(_APART[name].format(value))
            if new:
                break
        return ", ".join(words)

    def _may_be(self, fault: Note, notes: Sequence[Note]) -> bool:
        """Tell whether a fault may belong to a group of its chain: nothing that both say of their way speaks against it."""
        for name, (path, value) in zip(self._fields, self._way(notes[0]), strict=True):
            noted, apart = getattr(fault, name), len(self._seen[path]) > 1
            if noted is not None and noted != value and (apart or value is not None):
                return False
        kinds = {note.payload_kind for note in notes}
        return PayloadKind.UNKNOWN in (fault.payload_kind, *kinds) or fault.payload_kind in kinds

    def pairs(self, order: Sequence[str], *, pairwise: bool) -> list[tuple[str, str]]:
        """Choose what is compared: like with like, each against the first of its kind in ``order``, or all of a kind.

        Of a kind are groups after the same start or with the same kind of payload, and of the same drive and host unless
        they are made by them. Groups that differ in drive or host are compared only where there is nothing else, and what
        one chain does with another start or payload pairwise, or where there is nothing else.
        """
        firsts = {name: self.named[name][0] for name in order}
        kind = {name: one.state if one.kind is NoteKind.LOAD else one.payload_kind for name, one in firsts.items()}
        alike = {name: (kind[name], *(getattr(one, field) for field in self.alike)) for name, one in firsts.items()}
        found = _of_a_kind(order, alike, pairwise=pairwise) or _of_a_kind(order, kind, pairwise=pairwise)
        if pairwise or not found:
            chains = {name: self.chain(one) for name, one in firsts.items()}
            found += [pair for pair in _of_a_kind(order, chains, pairwise=True) if kind[pair[0]] != kind[pair[1]]]
        return found

    def unlike(self, pairs: Iterable[tuple[str, str]]) -> list[str]:
        """Say in what else groups that are compared differ: it may be that which a difference shows, and not ``by``.

        Groups that hold the same in unequal parts differ as well: two payloads, and most copies of one drive of the smaller.
        """
        said = []
        chosen = list(pairs)
        for field in (name for name in _SHOULD if name != self.by):
            counts = {name: Counter(getattr(one, field) for one in notes) for name, notes in self.named.items()}
            differing = [pair for pair in chosen if _shares(counts[pair[0]]) != _shares(counts[pair[1]])]
            if not differing:
                continue
            values = {value for pair in differing for name in pair for value in counts[name]}
            shown = sorted(plain(value, limit=30) for value in values if value is not None)
            unequal = " in unequal parts" if all(set(counts[one]) == set(counts[two]) for one, two in differing) else ""
            said.append(f"the groups differ in their {field} as well ({', '.join(shown[:4])}{unequal}): it may be that")
        return said


def _of_a_kind(order: Sequence[str], kind: Mapping[str, object], *, pairwise: bool) -> list[tuple[str, str]]:
    """Pair groups of one kind: each with the first of it, or all with all; as they follow each other in ``order``."""
    fellows: dict[object, list[str]] = defaultdict(list)  # there may be thousands of groups, of which few are of a kind
    for name in order:
        fellows[kind[name]].append(name)
    if not pairwise:
        return [(names[0], name) for names in fellows.values() for name in names[1:]]
    met: Counter[object] = Counter()
    found = []
    for name in order:
        met[kind[name]] += 1
        found += [(name, other) for other in fellows[kind[name]][met[kind[name]] :]]
    return found


def _shares(counts: Counter[object]) -> frozenset[tuple[object, float]]:
    """Give which share of a group each value has."""
    return frozenset((value, count / counts.total()) for value, count in counts.items())
