"""Sentences about a verdict: what it rests on, what is still possible, and the one test that would settle it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from copytime.analysis.elimination import ASSUMPTION, Certainty, Flag, Judgement
from copytime.analysis.evidence import (
    DECLARED,
    LOOSE,
    NEAR_SHARE,
    OTHER_PROTOCOL,
    OTHER_SYSTEM,
    PAST_MEMORY,
    RATED,
    SHORTER,
    THROUGH_MEMORY,
    Clearing,
    Observation,
)
from copytime.records import Direction, Part
from copytime.units import rate_text, size_text

__all__ = ["called_part", "next_test", "swapped", "told"]

_WAY = {Direction.TO_DRIVE: "to the drive", Direction.FROM_DRIVE: "from the drive"}


def told(one: Judgement) -> Judgement:
    """Return the judgement with its sentences, the next test, and the swap that would overturn it."""
    test = next_test(one)
    overturn = _overturn(one)
    said = [_verdict(one)]
    said += [_cleared(each) for each in one.cleared]
    if one.certainty in (Certainty.UNDECIDED, Certainty.PROVISIONAL, Certainty.COMBINATION) and not one.in_turn:
        said.append(f"Still possible: {_alive(one)}.")
    if one.certainty is not Certainty.AT_CEILING and not one.in_turn:
        said.append(ASSUMPTION)
    if overturn is not None:
        said.append(overturn)
    if test is not None:
        said.append(f"Next: {test}")
    return replace(one, next_test=test, overturn=overturn, sentences=tuple(said))


def called_part(part: Part) -> str:
    """Name a part within a sentence; of a link's long title only its beginning, before the first comma."""
    name = part.name.partition(",")[0] if part.kind in ("link", "inner link") else part.name
    return f"the {part.kind} {name}"


def _listed(parts: Sequence[Part], word: str = "or") -> str:
    names = [called_part(part) for part in parts]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}" if names else "nothing"


def _what(one: Observation) -> str:
    files = "unknown files" if one.payload == "unknown" else f"{one.payload} files"
    return f"{files} {_WAY[one.direction]}"


def _verdict(one: Judgement) -> str:
    observation = one.observation
    lead = f"{rate_text(observation.rate)} MB/s, {_what(observation)}: "
    setter = one.pace_setter
    if one.certainty is Certainty.AT_CEILING and setter is not None:
        return f"{lead}{called_part(setter)} is at its ceiling and sets the pace; nothing behind it can be judged."
    if one.certainty is Certainty.BY_ELIMINATION and setter is not None:
        return f"{lead}{called_part(setter)} sets the pace{_why(one)}."
    if one.certainty is Certainty.PROVISIONAL and setter is not None:
        return f"{lead}{called_part(setter)} sets the pace, provisionally{_instead(one, setter)}."
    if one.in_turn:
        return f"{lead}{_listed(one.suspects, 'and')} work in turn and set the pace together."
    if one.certainty is Certainty.UNDECIDED:
        return f"{lead}undecided between {_listed(one.suspects, 'and')}."
    return f"{lead}every part can go faster by itself; their combination sets the pace, or the result was a slip."


def _why(one: Judgement) -> str:
    """Say what a part is named by: that all others are cleared, or that agreeing results share no other that is not."""
    if not one.together:
        return "; everything else can go faster"
    partly = " (some of it only provisionally)" if one.provisional else ""
    return f": the results that agree share nothing else that is not cleared{partly}"


def _instead(one: Judgement, setter: Part) -> str:
    """Name what may set the pace instead, and how far each is cleared: where results agree, some may not be at all."""
    rest = [part for part in one.suspects if part != setter]
    weak = [part for part in rest if part in one.provisional]
    bare = [part for part in rest if part not in weak]
    if not rest:
        return ""
    if not bare:
        return f", or one of these, which are cleared only provisionally: {_listed(weak)}"
    also = f"; or one of these, which are cleared only provisionally: {_listed(weak)}" if weak else ""
    return f", or one of these, which nothing clears: {_listed(bare)}{also}"


def _cleared(one: Clearing) -> str:
    how = "Cleared" if one.full else "Provisionally cleared"
    # what a maker states holds for no host, link or cable in particular, and the evidence names itself
    reasons = () if RATED in one.reasons and len(one.evidence) == 1 else one.reasons
    why = f" ({'; '.join(reasons)})" if reasons else ""
    return f"{how}: {called_part(one.part)}, by {', '.join(one.evidence)}{why}."


def _alive(one: Judgement) -> str:
    if one.certainty is Certainty.COMBINATION:
        return "that parts hinder each other, that they work in turn, or that this result is a slip"
    return f"that it is {_listed(one.suspects)}"


def _overturn(one: Judgement) -> str | None:
    """Name the swap that would show a verdict to be wrong."""
    setter = swapped(one)
    if setter is None:
        return None
    if setter.kind == "drive":
        return f"It would be overturned if another drive in place of {setter.name} were no faster."
    return f"It would be overturned if this drive were no faster without {called_part(setter)}."


def swapped(one: Judgement) -> Part | None:
    """Return the part whose swap would overturn a verdict, None where no part was named or a standard sets the bound."""
    if one.in_turn:
        return next((part for part in one.uncleared if part.kind != "drive"), None)
    return one.pace_setter if one.certainty in (Certainty.BY_ELIMINATION, Certainty.PROVISIONAL) else None


def next_test(one: Judgement) -> str | None:
    """Name the one test that would settle what is open, None where nothing is."""
    if one.certainty in (Certainty.AT_CEILING, Certainty.BY_ELIMINATION) or one.in_turn:
        return None
    observation = one.observation
    if one.certainty is Certainty.COMBINATION:
        return f"measure {_what(observation)} once more, then change one part at a time."
    if one.uncleared and one.certainty is Certainty.UNDECIDED:
        return _split(one, list(one.uncleared))
    weak = [each for each in one.cleared if not each.full]
    chosen = max(weak, key=lambda each: _telling(one, each), default=None)
    if chosen is not None and chosen.reasons == (NEAR_SHARE,):
        left = f"its margin alone leaves {called_part(chosen.part)} open"
        return f"the same once more, longer or timed more finely, {_what(observation)}: {left}."
    return _firm_up(one, chosen) if chosen is not None else None


def _telling(one: Judgement, weak: Clearing) -> tuple[bool, bool]:
    """Rank what is cleared only provisionally by how much a test of it would tell.

    A long run is done on the PC, without the console, and tells most. Where nothing is named and a bridge was faster by
    another protocol only, another bridge tells more than another cable on a link of low share, unless the rate is what a
    lower mode of that link would give.
    """
    bridge = weak.part.kind == "bridge" and OTHER_PROTOCOL in weak.reasons and one.pace_setter is None
    return SHORTER in weak.reasons, bridge and Flag.MAY_HAVE_FALLEN_BACK not in one.flags


def _split(one: Judgement, suspects: list[Part]) -> str:
    """Propose the test that divides the suspects: leave one of them out, and keep everything else."""
    observation = one.observation
    kinds = {part.kind: part for part in reversed(suspects)}
    drive = observation.part_of("drive")
    name = drive.name if drive is not None else "the drive"
    bridge, host, cable = (observation.part_of(kind) for kind in ("bridge", "host", "cable"))
    on = f" on {host.name}" if host is not None else ""
    what = _what(observation)
    if "cable" in kinds:
        return f"the same once more with another cable ({name}{on}, {what})."
    if "drive" in kinds and "bridge" in kinds and bridge is not None:
        apart = f"{name} without {bridge.name}, natively or through another bridge{on}"
        return f"{apart}, {what}: if it is faster, {name} is cleared."
    if "bridge" in kinds and "host" in kinds and bridge is not None:
        return f"{name} through another bridge than {bridge.name}{on}, {what}: if it is faster, the host is cleared."
    if "drive" in kinds:
        rest = f" through {bridge.name}" if bridge is not None else ""
        return f"a drive that is known to be faster than {name}{rest}{on}, {what}: if it is faster, {name} sets the pace."
    swap = suspects[-1]
    via = f" by {cable.name}" if cable is not None and swap.kind != "cable" else ""
    return f"{name}{on}{via} with something else in place of {called_part(swap)}, {what}."


def _firm_up(one: Judgement, weak: Clearing) -> str:
    """Propose what would turn a provisional clearing into a full one, or undo it."""
    observation = one.observation
    what = _what(observation)
    host = observation.part_of("host")
    on = f" on {host.name}" if host is not None else ""
    name = called_part(weak.part)
    for reason in weak.reasons:
        if reason == SHORTER:
            size = f" of {size_text(observation.run_bytes)} at least" if observation.run_bytes else ""
            return f"a long stream{size} with {name}, {what}."
        if reason == DECLARED:
            if weak.part.kind == "inner link":
                return (
                    f"another bridge and nothing else{on}: if it is faster, {name} had fallen back, or the bridge is slow."
                )
            return f"another cable and nothing else{on}: if it is faster, {name} had fallen back, or the cable is slow."
        if reason == "read back just after it was written":
            return f"read from {name} again after it was detached and rested, {what}."
        if reason == "seen on one visit only":
            return f"repeat {', '.join(weak.evidence[:2])} on another visit, so that {name} is cleared for good."
        if reason in (PAST_MEMORY, THROUGH_MEMORY):
            return f"{name} and what it is held against the same way, past memory or through it (--buffered){on}, {what}."
        if reason.startswith(OTHER_SYSTEM):
            return f"{name} and what it is held against with the same file system on the drive{on}, {what}."
    drive, setter = observation.part_of("drive"), one.pace_setter
    if drive is not None and setter is not None and setter.kind != "drive":
        return (
            f"a drive that is 1.5 times as fast by itself as {drive.name}, or as slow, in its place{on}, {what}: the "
            f"same rate would show that {called_part(setter)} bounds it."
        )
    return _swap(one, weak)


def _swap(one: Judgement, weak: Clearing) -> str:
    """Propose to change one part and nothing else: who is thought to set the pace, else who is cleared least firmly.

    It says what either outcome tells, and what that leaves open.
    """
    observation = one.observation
    part = one.pace_setter or weak.part
    host = observation.part_of("host")
    on = f" on {host.name}" if host is not None and part.kind != "host" else ""
    payload = ", the same payload" if observation.payload in LOOSE else ""
    same = f"with nothing else changed{on}, {_what(observation)}{payload}"
    cleared = f" and {called_part(weak.part)} is cleared" if part != weak.part else ""
    if part.kind == "drive":
        return (
            f"a drive that is known to be faster than {part.name} in its place, {same}: if it is faster, {part.name} sets "
            f"the pace{cleared}; if not, something that stayed does."
        )
    return (
        f"another {part.kind} in place of {part.name}, {same}: if that is faster, {part.name} sets the pace{cleared}; if "
        "not, that alone cannot tell whether the other one is any better."
    )
