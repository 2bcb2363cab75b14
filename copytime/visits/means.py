"""What every visit works with, whatever it measures: its logbook, its caller, and this machine."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.attached import Platform, Target
from copytime.attached import platform as this_platform
from copytime.engine.blocks import Stop, never
from copytime.engine.system import System
from copytime.engine.system import system as this_system
from copytime.engine.witness import Observer
from copytime.logbook import Logbook
from copytime.records import ProgressCallback

__all__ = ["Means", "means", "observer_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """The logbook to write to and the caller to tell, where there are any; whom to ask to stop; the system worked on."""

    logbook: Logbook | None
    progress: ProgressCallback | None
    stop: Stop
    platform: Platform
    system: System


def means(
    logbook: Logbook | None = None,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
    platform: Platform | None = None,
    system: System | None = None,
) -> Means:
    """Gather them; without another one, this machine is worked on."""
    return Means(
        logbook=logbook,
        progress=progress,
        stop=stop,
        platform=platform or this_platform(),
        system=system or this_system(),
    )


def observer_of(platform: Platform, system: System, target: Target, idle_s: float) -> Observer:
    """Return a reader of the counters behind a target; ``idle_s`` is the length of each idle moment."""
    return Observer(lambda: platform.counts(target), copies=target.copies, suspended=system.suspended_ns, idle_s=idle_s)
