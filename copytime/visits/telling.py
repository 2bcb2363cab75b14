"""A plan and a target in words, for a person who is to say yes."""

from __future__ import annotations

from copytime.attached import Layer, Target
from copytime.safetext import plain
from copytime.units import duration_text, percent_text, size_text
from copytime.visits.payloads import Payloads
from copytime.visits.plan import LONGEST_PASS_S, Plan

__all__ = ["behind", "describe", "spoken", "wear"]

#: Layers that never stand on one of their own kind: two in a row are parts of one whole.
_SIDE_BY_SIDE = ("loop", "file", "partition")


def describe(plan: Plan) -> str:
    """Tell what will happen, in a few lines."""
    target, options = plan.target, plan.options
    times = f"{plan.repeats} to {plan.at_most} times" if plan.at_most != plan.repeats else f"{plan.repeats} times"
    times = "once" if plan.at_most == 1 else times
    laid = "the large one laid out first, " if options.laid_out else ""
    fast, slow = plan.seconds
    worn = wear(plan.write_bytes, options.endurance)
    cut = any(plan.may_shorten(workload) for workload in plan.payloads.workloads)
    lines = [
        (
            f"target   {plain(target.path)}: {plain(target.file_system)}, {size_text(target.free_bytes)} free"
            f" of {size_text(target.total_bytes)}"
        ),
        f"behind   {behind(target)}",
        (
            f"writes   {size_text(plan.write_bytes)} in all: {payload_words(plan.payloads)}, {laid}{times}, into a folder "
            "of its own that is removed at the end"
        ),
        f"reads    {size_text(plan.read_bytes)} in all" + (", the last time to check every byte" if options.verify else ""),
        f"takes    about {spoken(fast, slow)}" + (f" (a pass is cut at {duration_text(LONGEST_PASS_S)})" if cut else ""),
        f"care     none of your files is touched; the writing uses up {worn} and warms it",
    ]
    return "\n".join(lines + [f"note     {remark}" for remark in plan.remarks])


def spoken(fast: float, slow: float) -> str:
    """Say how long something takes that takes between so many seconds."""
    return duration_text(slow) if slow - fast < 0.2 * slow else f"{duration_text(fast)} to {duration_text(slow)}"


def wear(write_bytes: int, endurance: int | None) -> str:
    """Tell how much of a drive's rated endurance (terabytes written) so many bytes take; None where no rating is known."""
    if not endurance:
        return "a little of the drive's endurance"
    return f"{percent_text(write_bytes / endurance)} of the {size_text(endurance)} that the drive is rated for"


def payload_words(found: Payloads) -> str:
    """Tell what one repeat moves in one direction."""
    parts = []
    if found.large_bytes:
        parts.append(f"{size_text(found.large_bytes)} large")
    if found.small.files:
        parts.append(f"{found.small.files} small files of {size_text(found.small.payload_bytes)} ({found.small.name})")
    return " and ".join(parts)


def behind(target: Target) -> str:
    """Tell what stands behind a target, from the file system down; what stands side by side is joined by 'and'."""
    said_all = ""
    for above, layer in zip((None, *target.layers), target.layers, strict=False):
        beside = above is not None and (above.kind == "disk" or above.kind == layer.kind in _SIDE_BY_SIDE)
        joint = "" if above is None else " and " if beside else " on "
        said_all += joint + _step(layer, target)
    return said_all or f"no drive ({target.backing})"


def _step(layer: Layer, target: Target) -> str:
    disk = next((one for one in target.disks if one.name == layer.name), None)
    if disk is not None:
        about = [disk.model or "", size_text(disk.size_bytes) if disk.size_bytes else "", disk.bus or ""]
        said = ", ".join(plain(part) for part in about if part)
        return f"{plain(layer.name)} ({said})" if said else plain(layer.name)
    if layer.kind == "file":
        return f"the file {plain(layer.name)}"
    return plain(layer.name) if layer.name.startswith(layer.kind) else f"{layer.kind} {plain(layer.name)}"
