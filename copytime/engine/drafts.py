"""Drafts that a killed copy left: written down before the copy begins, found again by the run's own token, and removed.

A draft is a file that was never complete. Its name carries a token that only this user's journal knows, and a run has no
more of them at once than it has files in hand. Whatever else stands there belongs to the user; what is in doubt is left.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from copytime.engine.placing import DRAFT_PREFIX, DRAFT_SUFFIX
from copytime.engine.scratch import Entry, Journal, LeftOver
from copytime.engine.system import System
from copytime.engine.tree import Handles, walk
from copytime.errors import CopytimeError, from_os_error
from copytime.safetext import plain

__all__ = ["IN_HAND", "copy_entry", "inspect_copy", "is_copy", "remove_drafts"]

#: How the token of a copy begins in the journal, where scratch folders stand as well.
_KIND = "copy-"

#: Drafts that one run has at once at the most: small files in hand, or one large one.
IN_HAND = 4


def copy_entry(
    system: System, path: str, token: str, *, created: str, process_started: float, file_system: str | None = None
) -> Entry:
    """Describe a copy that will stand at ``path`` for the journal; ``token`` is in the names of its drafts.

    Raises OSError where the folder that takes it cannot be opened.
    """
    if file_system is None:
        with contextlib.closing(system.open_folder(os.path.dirname(path))) as folder:
            file_system = folder.identity()
    return Entry(
        token=_KIND + token,
        parent=path,
        name=f"{DRAFT_PREFIX}{token}-",
        file_system=file_system,
        created=created,
        process=os.getpid(),
        process_started=process_started,
    )


def is_copy(entry: Entry) -> bool:
    """Tell whether a journal entry is of a copy, and not of a scratch folder."""
    return entry.token.startswith(_KIND)


@dataclass(frozen=True, slots=True)
class _Draft:
    """A file with the name of a draft: the folder number in ``handles``, its name, and what the system tells of it."""

    folder: int
    name: str
    found: os.stat_result


def inspect_copy(system: System, entry: Entry, *, running: Callable[[int, float], bool]) -> LeftOver:
    """Find out which drafts of a copy are left; nothing is changed. See scratch.inspect."""
    if running(entry.process, entry.process_started):
        return LeftOver(entry=entry, state="in-use", why=f"the copy is still going on (process {entry.process})")
    into = os.path.dirname(entry.parent)
    try:
        with contextlib.closing(system.open_folder(into)) as folder:
            now = folder.identity()
    except FileNotFoundError:
        return LeftOver(entry=entry, state="unreachable", why="its drive is not mounted there now")
    except OSError as error:
        return LeftOver(entry=entry, state="unreachable", why=from_os_error(error, "opening its drive").message)
    if entry.file_system and now and now != entry.file_system:
        return LeftOver(entry=entry, state="unreachable", why="another drive is mounted there now")
    try:
        with _open(entry) as (_, drafts):
            return _judged(entry, drafts, known=bool(entry.file_system and now))
    except CopytimeError as error:
        return LeftOver(entry=entry, state="unreachable", why=error.message)
    except OSError as error:
        return LeftOver(entry=entry, state="unreachable", why=from_os_error(error, "looking for its drafts").message)


def _judged(entry: Entry, drafts: list[_Draft], *, known: bool) -> LeftOver:
    """Say what was found means; ``known``: this is certainly the file system that the copy went to."""
    if not drafts:
        if known:
            return LeftOver(entry=entry, state="gone", why="no unfinished file is left of this copy")
        return LeftOver(
            entry=entry, state="unreachable", why="nothing is there, and nothing tells whether this is its drive"
        )
    size = sum(one.found.st_size for one in drafts)
    count = f"{len(drafts)} unfinished {'file' if len(drafts) == 1 else 'files'}"
    doubt = None
    if any(not stat.S_ISREG(one.found.st_mode) for one in drafts):
        doubt = "what has the name of a draft is no file"
    elif len(drafts) > IN_HAND or len({one.name for one in drafts}) < len(drafts):
        doubt = f"{count}: more than one run can have, so somebody copied them"
    if doubt is not None:
        return LeftOver(entry=entry, state="not-ours", why=doubt, size_bytes=size)
    return LeftOver(entry=entry, state="ours", why=f"{count} of a copy that was cut short", size_bytes=size)


def remove_drafts(system: System, entry: Entry, journal: Journal, *, running: Callable[[int, float], bool]) -> list[str]:
    """Remove the drafts of a copy if they are certainly its own; complete files stay. See scratch.remove."""
    found = inspect_copy(system, entry, running=running)
    if found.state == "ours":
        try:
            with _open(entry) as (handles, drafts):
                for one in drafts:
                    _remove(handles, one)
        except OSError as error:
            raise from_os_error(error, f"removing what is unfinished in {plain(entry.parent)}") from error
    elif found.state != "gone":
        raise CopytimeError(f"{plain(entry.parent)} is left alone: {found.why}")
    journal.closed(entry.token)
    return []


def _remove(handles: Handles, draft: _Draft) -> None:
    """Remove one draft if it is still the file that was looked at."""
    folder = handles.open(draft.folder)
    try:
        now = os.stat(draft.name, dir_fd=folder, follow_symlinks=False)
        if (now.st_dev, now.st_ino, now.st_size) != (draft.found.st_dev, draft.found.st_ino, draft.found.st_size):
            raise CopytimeError(f"{plain(draft.name)} is left alone: somebody changes it")
        os.unlink(draft.name, dir_fd=folder)
        os.fsync(folder)
    finally:
        os.close(folder)


@contextlib.contextmanager
def _open(entry: Entry) -> Iterator[tuple[Handles, list[_Draft]]]:
    """Look for drafts in the folder that takes the copy, and in the whole copy where it is a folder."""
    into = os.path.dirname(entry.parent)
    pattern = re.compile(re.escape(entry.name) + "[0-9]+" + re.escape(DRAFT_SUFFIX))
    tree = walk(entry.parent) if os.path.isdir(entry.parent) and not os.path.islink(entry.parent) else None
    folders = tree.folders if tree is not None else ()
    handles = Handles(into, lambda number: folders[number][:2])
    try:
        names = [(0, name) for name in os.listdir(into)]
        if tree is not None:
            names += [(one.folder, one.name) for one in (*tree.files, *tree.links)]
            names += [(one.parent, one.name) for one in tree.folders[1:]]
        found = []
        for folder, name in names:
            if pattern.fullmatch(name):
                handle = handles.open(folder)
                try:
                    found.append(_Draft(folder, name, os.stat(name, dir_fd=handle, follow_symlinks=False)))
                finally:
                    os.close(handle)
        yield handles, found
    finally:
        handles.close()
