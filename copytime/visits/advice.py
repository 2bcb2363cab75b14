"""What a person should know about the figures of a qualification, in sentences with the figures that they rest on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from copytime.analysis.observing import exceeded
from copytime.analysis.settled import WINDOW
from copytime.records import Access, Direction, Pass, Result, Witness, Workload
from copytime.safetext import plain
from copytime.units import percent_text, rate_text, size_text

__all__ = ["advice", "happened", "interrupted"]

#: Size of the unit that is compared, in KiB.
_CELL_KIB = 4

#: Relative standard deviation above which repeats are called uneven (common practice, no source).
_UNEVEN = 0.05

#: A first physical address that moves by more than this share of the payload is another place on the drive.
_MOVED = 1.0


def advice(
    passes: Sequence[Pass], results: Sequence[Result], conditions: Mapping[str, object] | None = None
) -> tuple[str, ...]:
    """Say what speaks against the figures, or limits what they mean; empty when there is nothing to say.

    Of the visit's ``conditions`` these are looked at: ``capacity_bytes``, ``trims_deleted`` (whether the file system trims
    what is deleted), ``changed`` (what changed about the drive from the first to the last moment).
    """
    known = conditions or {}
    said = [*_wrong(passes), *_cached(passes), *_shared(passes), *interrupted(passes), *_between(passes, known)]
    said += [*_buffered(results), *_unchecked(passes), *_warm(passes), *_by_threads(passes), *_flush(passes)]
    said += _drowned(passes)
    said += [*_uneven(results), *_unsettled(results), *_single(results), *_above_ceiling(results)]
    said += [*_placement(passes, known), *_trimmed(passes, known)]
    return tuple(dict.fromkeys(said))


def _label(one: Pass | Result) -> str:
    return f"{one.workload} {one.direction}"


def _wrong(passes: Iterable[Pass]) -> Iterable[str]:
    wrong = [one for one in passes if one.mismatches]
    if wrong:
        first = wrong[0].mismatches[0]
        cells = sum(one.wrong_cells for one in wrong)
        yield (
            f"data came back wrong, {cells * _CELL_KIB} KiB of it at least: {plain(first.file)} at byte {first.offset}, "
            f"{first.length} bytes: {plain(first.found)}. "
            "The figures stand, but do not trust this drive, bridge or cable with data; repeat with another cable first"
        )


def _cached(passes: Iterable[Pass]) -> Iterable[str]:
    for one in passes:
        if one.witness is Witness.CACHED:
            share = (one.device_bytes or 0) / one.payload_bytes
            yield (
                f"{_label(one)}: the drive moved only {percent_text(share)} of the payload, memory answered for the rest; "
                "this is not the drive's speed and is used for no verdict (copytime explain witness)"
            )


def _shared(passes: Iterable[Pass]) -> Iterable[str]:
    """Tell for each workload and direction what else used the drive, by the repeat in which it was most."""
    kinds: dict[str, list[Pass]] = {}
    for one in passes:
        kinds.setdefault(_label(one), []).append(one)
    shared = {kind: [one for one in found if one.witness is Witness.SHARED] for kind, found in kinds.items()}
    for kind, found in shared.items():
        if not found:
            continue
        worst = max(found, key=lambda one: _reason(one)[1])
        reason, amount = _reason(worst)
        rate = rate_text(amount / (worst.elapsed_ns / 1e9))
        said = f"{reason.format(size_text(amount))} ({rate} MB/s)"
        if len(found) == 1:
            yield f"{kind}, repeat {worst.repeat}: {said}; something else used it meanwhile"
        else:
            yield (
                f"{kind}, {len(found)} of {len(kinds[kind])} repeats: something else used it meanwhile; most in repeat "
                f"{worst.repeat}, when {said}"
            )
    if any(shared.values()):
        yield (
            "what else uses a drive may be an indexer, a virus scanner, a backup, or a file system that writes everything "
            "twice; the drive can be faster than such figures"
        )


def _reason(one: Pass) -> tuple[str, int]:
    """Name what moved most beside the payload of a pass, and how many bytes that were."""
    word, opposite = ("wrote", "read") if one.direction is Direction.TO_DRIVE else ("read", "wrote")
    reasons = {
        f"the drive {word} {{}} more than the payload": (one.device_bytes or 0) - one.payload_bytes,
        f"the drive also {opposite} {{}}": one.other_bytes or 0,
        f"the drive {word} {{}} on its own meanwhile, as it did before and after": one.idle_bytes,
        f"the drive {opposite} {{}} on its own meanwhile, as it did before and after": one.other_idle_bytes,
    }
    return max(reasons.items(), key=lambda pair: pair[1])


#: Of a drive that has another size than at the start.
_OTHER_SIZE = "the drive has another size than before, as one has that loses its medium; look at the kernel's log"


def interrupted(passes: Iterable[Pass]) -> Iterable[str]:
    """Tell what happened during passes that makes them doubtful."""
    for one in passes:
        if one.cut_short is not None:
            yield (
                f"{_label(one)}: cut short after {size_text(one.payload_bytes)}: {plain(one.cut_short)}. What its trace "
                "shows until then was measured; it is counted as no finished pass"
            )
        if "suspended" in one.marks:
            yield f"{_label(one)}, repeat {one.repeat}: the machine slept during the pass; it is not counted"
        if "reconnected" in one.marks:
            yield (
                f"{_label(one)}, repeat {one.repeat}: the drive reconnected during the pass; a loose cable or too little "
                "power? Passes before and after it may have used different links"
            )
        if "link-mode-changed" in one.marks:
            yield f"{_label(one)}, repeat {one.repeat}: the link changed its mode during the pass"
        if "errors-rose" in one.marks:
            yield f"{_label(one)}, repeat {one.repeat}: the system counted failed requests; look at the kernel's log"
        if "size-changed" in one.marks:
            yield f"{_label(one)}, repeat {one.repeat}: {_OTHER_SIZE}"


def _between(passes: Sequence[Pass], conditions: Mapping[str, object]) -> Iterable[str]:
    """Tell what changed about the drive outside any pass."""
    changed = conditions.get("changed")
    if not isinstance(changed, list | tuple):
        return
    seen = {mark for one in passes for mark in one.marks}
    when = "between passes" if len(passes) > 1 else "outside the timed pass" if passes else "during the work"
    yield from happened((mark for mark in changed if mark not in seen), "the drive", when)


def happened(marks: Iterable[str], drive: str, when: str) -> Iterable[str]:
    """Tell what ``marks`` say of a drive: one that no pass is about, or at a time outside any pass."""
    words = {
        "reconnected": f"{drive} reconnected {when}; a loose cable or too little power?",
        "link-mode-changed": f"the link of {drive} changed its mode {when}",
        "errors-rose": f"the system counted failed requests of {drive} {when}; look at the kernel's log",
        "size-changed": _OTHER_SIZE.replace("the drive", drive, 1),
    }
    for mark in marks:
        if mark in words:
            yield words[mark]


def _buffered(results: Iterable[Result]) -> Iterable[str]:
    if any(one.access is Access.BUFFERED and one.workload is not Workload.SMALL for one in results):
        yield (
            "the bytes went through memory on their way (buffered): this file system does not leave the page cache out, or "
            "--buffered was asked for. Such figures are never compared with unbuffered ones (copytime explain unbuffered)"
        )


def _unchecked(passes: Iterable[Pass]) -> Iterable[str]:
    if any("access-unchecked" in one.marks for one in passes):
        yield "unbuffered is what was asked for: this system does not tell whether bytes went through memory"


def _warm(passes: Iterable[Pass]) -> Iterable[str]:
    if any("metadata-warm" in one.marks for one in passes):
        yield (
            "metadata warm: the folders' own data stayed in memory between writing and reading small files, because only "
            "root may drop it; a drive that is freshly attached is slower to read from"
        )


def _by_threads(passes: Iterable[Pass]) -> Iterable[str]:
    if any("by-threads" in one.marks for one in passes):
        yield (
            "the small files were handled by threads, because worker processes could not be started: a very fast drive "
            "can do more files a second than that shows"
        )


def _drowned(passes: Iterable[Pass]) -> Iterable[str]:
    if any(
        one.workload is Workload.SMALL and one.witness is Witness.NONE and one.device_bytes is not None for one in passes
    ):
        yield (
            "the small payload is so small that the file system's own traffic could hide somebody else's: the counters "
            "prove nothing about it (ask for more files with --small)"
        )


def _flush(passes: Iterable[Pass]) -> Iterable[str]:
    durable = [one.durability for one in passes if one.durability is not None]
    if any(not one.flush_proven for one in durable):
        yield (
            "flush not proven: the system believes that the drive has no volatile cache and sends it no flush (common "
            "behind bridges). What the drive still held in its own memory at the end may be missing from the time "
            "(copytime explain durability)"
        )
    if any(not one.server_proven for one in durable):
        yield "server side not proven: another program or machine answers for the drive, and may hold data in memory"


def _uneven(results: Iterable[Result]) -> Iterable[str]:
    for one in results:
        if one.spread is not None and one.spread > _UNEVEN and one.repeats > 2:
            yield (
                f"{_label(one)}: uneven, one repeat differs from the next by about {percent_text(one.spread)}; "
                "look for other programs, heat, or a fast phase that ends, and see the single passes with 'log show'"
            )


def _unsettled(results: Iterable[Result]) -> Iterable[str]:
    for one in results:
        if one.settled is False:
            yield (
                f"{_label(one)}: not settled, the last {WINDOW} repeats still rise or fall; let the drive rest and repeat, "
                "or ask for more with --repeats (copytime explain repeats)"
            )


def _single(results: Iterable[Result]) -> Iterable[str]:
    if any(one.repeats == 1 and one.workload is not Workload.SUSTAIN for one in results):
        yield "a single repeat shows no spread: there is no margin of error"


def _above_ceiling(results: Iterable[Result]) -> Iterable[str]:
    for one in results:
        drive = one.witness in (Witness.DEVICE, Witness.SHARED)
        if drive and one.ceiling and exceeded(one.rate, one.ceiling):
            yield (
                f"{_label(one)}: {rate_text(one.rate)} MB/s is above the {rate_text(one.ceiling)} MB/s that the declared "
                "link can carry; the link is another one than was said"
            )


def _placement(passes: Sequence[Pass], conditions: Mapping[str, object]) -> Iterable[str]:
    """Tell when repeats landed in different places of a drive whose speed may depend on the place."""
    capacity = conditions.get("capacity_bytes")
    starts = [one.first_extent for one in passes if one.first_extent is not None and one.direction is Direction.TO_DRIVE]
    if len(starts) < 2 or not isinstance(capacity, int):
        return
    moved = max(starts) - min(starts)
    if moved > max(passes[0].payload_bytes * _MOVED, capacity * 0.05):
        yield (
            f"the file system put the repeats up to {size_text(moved)} apart; on a hard disk the place decides the speed "
            "(--laid-out writes the same place each time)"
        )


def _trimmed(passes: Sequence[Pass], conditions: Mapping[str, object]) -> Iterable[str]:
    """Tell when a drive may have been handed back its blocks between repeats, which makes writing easier for it."""
    again = any(one.repeat > 1 and one.direction is Direction.TO_DRIVE and not one.laid_out for one in passes)
    if conditions.get("trims_deleted") and again:
        yield (
            "this file system trims what is deleted, so repeats may have written to trimmed blocks, which is easier for a "
            "solid-state drive than writing over old data (--laid-out writes over the same blocks each time)"
        )
