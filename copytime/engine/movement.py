"""What one movement of a payload came to, whatever the workload."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.engine.witness import METADATA_SLACK
from copytime.records import Access, Mismatch, Trace

__all__ = ["Movement"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """A payload that was moved once in one direction.

    ``elapsed_ns`` runs from the first byte handed over to the end of the flush and includes ``flush_ns``. ``wrong_cells``
    counts the 4 KiB units that were seen not to come back as written, ``mismatches`` lists the places. ``access_checked`` is
    False where the system does not tell whether the bytes went past the page cache. ``metadata_bytes`` is what the
    file system may move of its own about this payload, ``least_bytes`` what the drive must move at least (None: the
    payload), ``flushed_each`` whether every file was flushed for itself; ``latencies_ns`` the time that each of many
    files took; ``away_cpu_ns`` the processor time of other processes than this one. ``failure`` is what ended it early,
    where the part that went well was to be kept: nothing was flushed then.
    """

    payload_bytes: int
    files: int
    elapsed_ns: int
    flush_ns: int
    access: Access
    access_checked: bool = True
    metadata_bytes: int = METADATA_SLACK
    least_bytes: int | None = None
    flushed_each: bool = False
    latencies_ns: tuple[int, ...] = ()
    away_cpu_ns: int = 0
    trace: Trace | None = None
    wrong_cells: int = 0
    mismatches: tuple[Mismatch, ...] = ()
    failure: Exception | None = None
