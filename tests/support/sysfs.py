"""Constructed device trees: folders that look like /sys to the code that reads it."""

from __future__ import annotations

import os
from pathlib import Path


class SysTree:
    """Builds block devices below ``root``. Attributes are given as path -> text."""

    def __init__(self, root: Path) -> None:
        self.root = root
        for folder in ("dev/block", "class/block", "fs/btrfs", "devices"):
            (root / folder).mkdir(parents=True, exist_ok=True)

    def disk(self, name: str, number: str, above: str = "pci0000:00", **attributes: str) -> Path:
        """Add a disk; keys of ``attributes`` use two underscores for a slash: ``queue__rotational="1"``."""
        return self._add(self.root / "devices" / above / "block" / name, number, attributes)

    def partition(self, disk: Path, name: str, number: str) -> Path:
        """Add a partition of a disk."""
        return self._add(disk / name, number, {"partition": "1"})

    def on(self, upper: Path, *lower: Path) -> None:
        """Let one device stand on others."""
        (upper / "slaves").mkdir(exist_ok=True)
        for one in lower:
            self._link(upper / "slaves" / one.name, one)

    def btrfs(self, uuid: str, profile: str, *members: Path) -> None:
        """Add a btrfs file system."""
        home = self.root / "fs/btrfs" / uuid
        (home / "allocation/data" / profile).mkdir(parents=True)
        (home / "devices").mkdir()
        for one in members:
            self._link(home / "devices" / one.name, one)

    def _add(self, folder: Path, number: str, attributes: dict[str, str]) -> Path:
        folder.mkdir(parents=True)
        attributes = {"dev": number, "stat": "1 0 8 2 3 0 16 4 0 5 6", **attributes}
        for key, text in attributes.items():
            place = folder / key.replace("__", "/")
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_text(text + "\n", encoding="utf-8", errors="surrogateescape")
        self._link(self.root / "dev/block" / number, folder)
        self._link(self.root / "class/block" / folder.name, folder)
        return folder

    def _link(self, link: Path, to: Path) -> None:
        link.symlink_to(os.path.relpath(to, link.parent))
