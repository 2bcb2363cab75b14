"""When Python looks for cyclic garbage."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["put_off"]


@contextmanager
def put_off() -> Iterator[None]:
    """Let the collector wait until some work is over that makes many records and no cycles; also a decorator.

    It would go through all of them again and again, and find nothing: of 10,000 notes a third of the time went there.
    """
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
