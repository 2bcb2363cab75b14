"""What is written down about a visit beside its passes, and what may have changed during it."""

from __future__ import annotations

import os
import platform as python_platform
import sys
from dataclasses import dataclass
from importlib import metadata

from copytime._version import __version__
from copytime.attached import DiskState, Platform, Target
from copytime.records import Counts
from copytime.visits.plan import Plan

__all__ = ["Moment", "about_target", "changed", "conditions_of", "temperature"]


def conditions_of(plan: Plan) -> dict[str, object]:
    """Write down the circumstances at the start of a visit; unknown ones are left out."""
    target, options = plan.target, plan.options
    disk = target.disks[0] if target.disks else None
    found: dict[str, object | None] = {
        **about_target(target),
        "trims_deleted": target.discards,
        "firmware": disk.firmware if disk else None,
        "rotational": disk.rotational if disk else None,
        "large_bytes": plan.payloads.large_bytes,
        "small_files": plan.payloads.small.files,
        "small_bytes": plan.payloads.small.payload_bytes,
        "small_recipe": plan.payloads.small.name if plan.payloads.small.files else None,
        "depth": options.depth,
        "block_bytes": options.block,
        "workers": options.workers,
        "until_margin_share": options.until,
        "declared_link": options.link.name if options.link else None,
        "declared_inner_link": options.inner_link.name if options.inner_link else None,
        "kit_drive": options.kit_drive,
        "machine": python_platform.machine(),
        "python": sys.version.split()[0],
        "numpy": metadata.version("numpy"),
    }
    return {key: value for key, value in found.items() if value is not None}


def about_target(target: Target) -> dict[str, object]:
    """Write down what is known of a target and of this machine, whatever is measured; unknown things are left out."""
    disk = target.disks[0] if target.disks else None
    found: dict[str, object | None] = {
        "file_system": target.file_system,
        "mount_point": target.mount_point,
        "backing": target.backing.value,
        "total_bytes": target.total_bytes,
        "free_bytes": target.free_bytes,
        "fill_share": round(target.fill, 4),
        "layers": [f"{layer.kind} {layer.name}" for layer in target.layers],
        "device": disk.name if disk else None,
        "model": disk.model if disk else None,
        "serial": target.serial,
        "bus": disk.bus if disk else None,
        "device_number": disk.number if disk else None,
        "capacity_bytes": disk.size_bytes if disk else None,
        "write_cache": disk.write_cache if disk else None,
        "system": f"{python_platform.system()} {python_platform.release()}",
        "processors": os.cpu_count(),
        "copytime": __version__,
    }
    return {key: value for key, value in found.items() if value is not None}


def changed(before: tuple[DiskState, ...], after: tuple[DiskState, ...]) -> tuple[str, ...]:
    """Name in short words what changed about the disks between two moments."""
    marks = []
    for first, last in zip(before, after, strict=False):
        if first.attachment is not None and first.attachment != last.attachment:
            marks.append("reconnected")
        if first.link_mode != last.link_mode and "reconnected" not in marks:
            marks.append("link-mode-changed")
        if first.errors is not None and last.errors is not None and last.errors > first.errors:
            marks.append("errors-rose")
        if first.size_bytes is not None and last.size_bytes is not None and first.size_bytes != last.size_bytes:
            marks.append("size-changed")
    return tuple(dict.fromkeys(marks))


def temperature(states: tuple[DiskState, ...]) -> float | None:
    """Take the highest temperature that the disks tell, in degrees Celsius."""
    known = [state.temperature_c for state in states if state.temperature_c is not None]
    return max(known) if known else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """What the drives of a target tell at one moment of a visit."""

    states: tuple[DiskState, ...]
    counts: Counts | None

    @classmethod
    def now(cls, platform: Platform, target: Target) -> Moment:
        """Look at the drives."""
        return cls(states=platform.states(target), counts=platform.counts(target))

    def known(self) -> dict[str, object]:
        """Write down what stands from this moment on, whatever happens afterwards; unknown things are left out."""
        first = self.states[0] if self.states else DiskState()
        found: dict[str, object | None] = {
            "temperature_start_c": temperature(self.states),
            "link_mode": first.link_mode,
            "attachment": first.attachment,
            "errors_start": first.errors,
        }
        return {key: value for key, value in found.items() if value is not None}

    def until(self, end: Moment) -> dict[str, object]:
        """Write down what happened between this moment and a later one; unknown things are left out.

        ``device_written_bytes`` is all that was written to the disks meanwhile, by whomever: what the visit cost in
        endurance. It is not known of a disk that was attached anew, whose counters began again.
        """
        marks = changed(self.states, end.states)
        found: dict[str, object | None] = {
            "temperature_end_c": temperature(end.states),
            "changed": list(marks) or None,
            "errors_end": end.states[0].errors if end.states else None,
        }
        if self.counts is not None and end.counts is not None and "reconnected" not in marks:
            found["device_written_bytes"] = end.counts.written_bytes - self.counts.written_bytes
        return {**self.known(), **{key: value for key, value in found.items() if value is not None}}
