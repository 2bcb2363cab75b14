"""What one movement of a payload came to, whatever the workload."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.records import Access, Mismatch, Trace

__all__ = ["Movement"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """A payload that was moved once in one direction.

    ``elapsed_ns`` runs from the first byte handed over to the end of the flush and includes ``flush_ns``. ``wrong_cells``
    counts the 4 KiB units that did not come back as written, ``mismatches`` lists the first of them.
    """

    payload_bytes: int
    files: int
    elapsed_ns: int
    flush_ns: int
    access: Access
    trace: Trace | None = None
    wrong_cells: int = 0
    mismatches: tuple[Mismatch, ...] = ()
