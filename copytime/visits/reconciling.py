"""Noted copies against everything else that is known: what sets the pace at the host, for each chain and direction."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from copytime.analysis.carried import with_links_carried
from copytime.analysis.elimination import Judgement
from copytime.analysis.evidence import LinkState, Observation
from copytime.analysis.groups import Group, Member, estimate_of, margin_of, repeat_spread
from copytime.analysis.margins import ASSUMED_PERCENT, Spread
from copytime.analysis.reconciled import Reconciled, Reconciliation
from copytime.analysis.sense import above_ceiling
from copytime.analysis.shared import SharedPart
from copytime.analysis.verdicts import judge_all
from copytime.analysis.visits import BetweenVisits
from copytime.collecting import put_off
from copytime.links import Link
from copytime.logbook.fields import is_device_name
from copytime.notes import KitItem, KitKind, Note, NoteKind, PayloadKind
from copytime.records import Direction, Part, Workload
from copytime.safetext import plain
from copytime.units import GigaBytes
from copytime.visits.comparing import noted_between, without_slips
from copytime.visits.known_parts import narrowest, on_the_pc, rated, turns
from copytime.visits.members import is_exact, member_of, visit_of
from copytime.visits.noting import timed_of
from copytime.visits.overheads import host_overheads
from copytime.visits.registered import Register
from copytime.visits.slips import slips_of

__all__ = ["reconcile"]

#: What must be equal for noted copies to be repeats of each other.
_LIKE = ("host", "drive", "bridge", "cable", "port", "link", "direction", "payload_kind", "payload", "state", "moved")


@dataclass(frozen=True, slots=True)
class _Bunch:
    """Notes that belong together, doubted or not, and why, with the narrowest link of their way where one is known."""

    notes: tuple[Note, ...]
    link: tuple[LinkState, Link] | None
    doubts: tuple[str, ...] = ()


@put_off()
def reconcile(
    several: Iterable[Note],
    kit: Sequence[KitItem] = (),
    measured: Iterable[Observation] = (),
    *,
    spread_percent: float = ASSUMED_PERCENT,
) -> Reconciliation:
    """Judge all noted copies by each other, by what the PC ``measured``, by the makers' figures and by the links of the kit.

    Notes that were struck out do not count. ``spread_percent`` is assumed between visits where nothing shows it.
    """
    counted = [one for one in several if one.counts]
    copies = [one for one in counted if one.kind is NoteKind.COPY and one.drive and one.host]
    exact = [one for one in copies if is_exact(one)]
    members = {one.id: member_of(one) for one in exact}
    measured = tuple(measured)
    loads, said_of_loads = without_slips([[one for one in counted if one.kind is NoteKind.LOAD and is_exact(one)]])
    remarks = [*_left_out(counted, copies, exact), *_strangers(exact, kit, measured), *said_of_loads]
    register = Register(kit)
    bunches = [bunch for group in _alike(exact).values() for bunch in _bunches(group, register, members)]
    clean = [note for bunch in bunches if not bunch.doubts for note in bunch.notes]
    between = noted_between([*clean, *loads], spread_percent, members)  # a slip would make all days look wild
    groups = [Group(name=one.notes[0].id, members=tuple(members[note.id] for note in one.notes)) for one in bunches]
    repeats = repeat_spread(groups)
    pairs = zip(bunches, groups, strict=True)
    noted = with_links_carried(_observation(bunch, group, register, repeats, between) for bunch, group in pairs)
    besides = [*on_the_pc(measured), *rated(kit)]
    judged: dict[str, Judgement] = {}
    shared: list[SharedPart] = []
    doubted: dict[str, str] = {}
    called = {one.id for one in noted}
    for direction in Direction:  # nothing that went one way says anything about the other
        known = [one for one in (*noted, *besides) if one.direction is direction]
        found = judge_all(known, called)
        judged.update({one.observation.id: one for one in found.judgements})
        doubted.update({one.id: one.why for one in found.doubts})
        shared += [one for one in found.shared if called.intersection(one.shown_by)]  # the rest belongs to the PC
    by_drive: dict[str, list[Observation]] = defaultdict(list)
    for one in besides:
        drive = one.part_of("drive")
        if drive is not None:
            by_drive[drive.name].append(one)
    results = []
    for bunch, group, observation in zip(bunches, groups, noted, strict=True):
        more = (doubted[observation.id],) if observation.id in doubted else ()
        results.append(_result(bunch, group, judged[observation.id], more, by_drive))
    results.sort(key=lambda one: (one.note.host or "", str(one.note.direction), -one.rate))
    return Reconciliation(
        results=tuple(results),
        shared=tuple(shared),
        known=(*noted, *besides),
        faults=tuple(one for one in counted if one.kind is NoteKind.FAULT),
        remarks=tuple(remarks),
        between=between,
        overheads=tuple(host_overheads(clean, between.spread, spread_percent=spread_percent, members=members)),
    )


def _left_out(counted: Sequence[Note], copies: Sequence[Note], exact: Sequence[Note]) -> list[str]:
    """Say how many copies say nothing here, and why."""
    said = []
    bare = sum(one.kind is NoteKind.COPY for one in counted) - len(copies)
    if bare:
        said.append(f"{bare} noted {'copy has' if bare == 1 else 'copies have'} no drive or no host and cannot be judged")
    if len(exact) < len(copies):
        left = len(copies) - len(exact)
        words = "copy is a bound or an approximation" if left == 1 else "copies are bounds or approximations"
        said.append(f"{left} noted {words} and left out")
    return said


def _strangers(exact: Iterable[Note], kit: Sequence[KitItem], measured: Iterable[Observation]) -> Iterator[str]:
    """Say that drives may be the same under two names: the PC measured one that nothing is noted of, and the other way."""
    registered = {one.name.lower() for one in kit if one.kind is KitKind.DRIVE}
    noted = {one.drive.lower(): one.drive for one in exact if one.drive}
    drives = (one.part_of("drive") for one in measured if one.usable)
    on_pc = {part.name.lower(): part.name for part in drives if part is not None}
    unknown = [plain(name, limit=80) for key, name in on_pc.items() if key not in noted and key not in registered]
    alone = [plain(name, limit=80) for key, name in noted.items() if key not in on_pc]
    if unknown and alone:
        # neither the name of a place nor one that had to be told apart from another drive of its model is a drive's own
        own = next((name for name in unknown if not (is_device_name(name) or name.endswith("]"))), None)
        verb = "change" if alone[0].lower() in registered else "add"
        how = f'kit {verb} drive "{alone[0]}" --seen-as "{own}"' if own else f'qualify FOLDER --drive "{alone[0]}"'
        yield (
            f"the PC measured {', '.join(unknown[:4])}, which nothing is noted of, and not {', '.join(alone[:4])}: if "
            f"that is one drive under two names, say so: copytime {how}"
        )


def _alike(several: Iterable[Note]) -> dict[object, list[Note]]:
    found: dict[object, list[Note]] = defaultdict(list)
    for one in several:
        found[tuple(getattr(one, name) for name in _LIKE)].append(one)
    return found


def _bunches(several: Sequence[Note], kit: Register, members: Mapping[str, Member]) -> list[_Bunch]:
    """Take the doubted notes of a group apart, so that a slip neither spoils the others nor disappears."""
    link = narrowest(several[0], kit)
    why: dict[str, list[str]] = defaultdict(list)
    for one in several:
        if link is None or members[one.id].rate <= link[1].ceiling:
            continue
        found = timed_of(one)
        if found is None:
            continue
        gb, colons = GigaBytes(one.gb), one.times[0].text.count(":")
        said = above_ceiling(found, link[1].ceiling, f"the link {link[1].name}", gb=gb, colons=colons)
        if said is not None:
            why[one.id].append(said)
    for identifier, said in slips_of(several, members):
        why[identifier].append(said)
    clean = [one for one in several if one.id not in why]
    doubted = [_Bunch((one,), link, tuple(why[one.id])) for one in several if one.id in why]
    return [_Bunch(tuple(clean), link), *doubted] if clean else doubted


def _chain(one: Note) -> tuple[Part, ...]:
    """List the parts that may set the pace of a note."""
    named = (("host", one.host), ("cable", one.cable), ("bridge", one.bridge), ("drive", one.drive))
    return tuple(Part(kind=kind, name=name, source="declared") for kind, name in named if name)


def _observation(bunch: _Bunch, group: Group, kit: Register, repeats: Spread | None, between: BetweenVisits) -> Observation:
    one = bunch.notes[0]
    assert one.direction is not None  # noqa: S101 - reason: a copy has one
    found = bunch.link
    links: tuple[LinkState, ...] = (found[0],) if found else ()
    drive = kit.find(KitKind.DRIVE, one.drive)
    bridge = kit.find(KitKind.BRIDGE, one.bridge)
    protocol = str(bridge.about["protocol"]).lower() if bridge is not None and "protocol" in bridge.about else None
    return Observation(
        id=_called(one),
        workload=Workload.COPY,
        direction=one.direction,
        estimate=estimate_of(group, repeats, between),
        parts=_chain(one),
        links=links,
        payload=one.payload_kind.value,
        run_bytes=max((note.size_bytes or 0 for note in bunch.notes), default=0) or None,
        visits=tuple(dict.fromkeys(visit_of(note) for note in bunch.notes)),
        protocol=protocol,
        mode=found[1].name if found else None,
        native=one.bridge is None,
        doubted=bool(bunch.doubts),
        turns=turns(drive),
        content=one.payload.lower() if one.payload else None,
        port=one.port,
    )


def _called(one: Note) -> str:
    """Call a group of notes so that people know which; the beginning of an id keeps such names apart."""
    by = f" through {one.bridge}" if one.bridge else ""
    return f"{one.drive}{by} at {one.host} [{one.id[:8]}]"


def _result(
    bunch: _Bunch,
    group: Group,
    judgement: Judgement,
    more: tuple[str, ...],
    by_drive: dict[str, list[Observation]],
) -> Reconciled:
    one, observation = bunch.notes[0], judgement.observation
    low, high = margin_of(observation.estimate).interval(observation.rate)
    own, through = _own(observation, by_drive.get(one.drive or "", ()))
    return Reconciled(
        id=one.id[:8],
        note=one,
        judgement=judgement,
        rate=observation.rate,
        low=low,
        high=high,
        repeats=group.repeats,
        visits=group.visits,
        size_bytes=max(note.size_bytes or 0 for note in bunch.notes),
        notes=tuple(note.id for note in bunch.notes),
        doubts=(*bunch.doubts, *more),
        own=own,
        through=through,
        link=bunch.link[1] if bunch.link else None,
    )


def _own(one: Observation, known: Sequence[Observation]) -> tuple[Observation | None, bool]:
    """Find what the drive does elsewhere: on the PC through the same bridge, else on the PC at all, else as rated."""
    payload = one.payload if one.payload == PayloadKind.SMALL else PayloadKind.LARGE
    like = [each for each in known if each.direction is one.direction and each.payload == payload]
    bridge = one.part_of("bridge")

    def same_bridge(each: Observation) -> bool:
        its = each.part_of("bridge")
        return (its.name if its else None) == (bridge.name if bridge else None) and not each.rated

    best = max(like, key=lambda each: (not each.rated, same_bridge(each), len(each.visits), each.rate), default=None)
    return best, best is not None and same_bridge(best)
