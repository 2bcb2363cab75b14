"""Memory for unbuffered requests: aligned, in huge pages where the system has them, and touched before any clock starts.

First touch of memory costs more than the copy itself, and small pages cost a slow look-up per page in every request;
both would be charged to the drive.
"""

from __future__ import annotations

import contextlib
import mmap

import numpy as np
from numpy.typing import NDArray

__all__ = ["HUGE_PAGE", "aligned_words"]

#: Size of a huge page on x86-64 and of a huge block on arm64 with 4 KiB pages; alignment to it is harmless elsewhere.
HUGE_PAGE = 2 * 1024 * 1024


def aligned_words(size_bytes: int) -> NDArray[np.uint64]:
    """Return ``size_bytes`` (a multiple of 8) of zeroed private memory as 64-bit words, aligned to 2 MiB and touched."""
    room = size_bytes + HUGE_PAGE
    if hasattr(mmap, "MAP_PRIVATE") and hasattr(mmap, "MAP_ANONYMOUS"):
        # mmap(-1) alone would be shared memory, which huge pages are usually switched off for
        memory = mmap.mmap(-1, room, flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS)
    else:
        memory = mmap.mmap(-1, room)
    if hasattr(mmap, "MADV_HUGEPAGE"):
        with contextlib.suppress(OSError):  # a kernel without huge pages: slower, not wrong
            memory.madvise(mmap.MADV_HUGEPAGE)
    raw = np.frombuffer(memory, dtype=np.uint8)
    start = -raw.ctypes.data % HUGE_PAGE
    words = raw[start : start + size_bytes].view(np.uint64)
    words.fill(0)
    return words
