"""Trees of files with everything that makes a copy hard, and what is in a tree, for comparing."""

from __future__ import annotations

import hashlib
import os
import random
import stat
import subprocess
from pathlib import Path

#: Names that file systems allow and programs stumble over.
HOSTILE = (
    b"plain.bin", b" leading and trailing ", b"-rf", b"--help", b"new\nline", b"tab\there", b"\xff\xfe not text",
    b"\x1b[31mred", "\u202eturned".encode(), b"*?[a]", b"$(touch gone)", b"a" * 255, "\U0001f3ae".encode(), b"..almost",
    b"'\"\\", b"%s{0}",
)  # fmt: skip


def make_tree(root: Path, *, seed: int = 1, large: int = 2, small: int = 60) -> None:
    """Fill a new folder with hostile names, links, odd sizes, rights and times."""
    dice = random.Random(seed)
    root.mkdir()
    base = os.fsencode(root)
    for name in HOSTILE:
        with open(os.path.join(base, name), "wb") as file:
            file.write(dice.randbytes(dice.choice([0, 1, 4095, 4096, 4097, 30000])))
    folder = os.path.join(base, b"in \xff")
    os.mkdir(folder, 0o750)
    for number in range(small):
        with open(os.path.join(folder, b"f%d" % number), "wb") as file:
            file.write(dice.randbytes(dice.randrange(40000)))
    for number, size in enumerate([8 * 2**20, 20 * 2**20 + 4097, 9 * 2**20 + 1][:large]):
        (root / f"large-{number}").write_bytes(dice.randbytes(size))
    (root / "empty folder").mkdir(mode=0o711)
    os.symlink("/etc/passwd", root / "out")
    os.symlink("nowhere", root / "broken")
    os.symlink(b"in \xff", os.path.join(base, b"to folder"))
    os.link(root / "plain.bin", root / "second name")
    (root / "plain.bin").chmod(0o640)
    os.utime(root / "plain.bin", ns=(1_000_000_000_123_456_789, 1_100_000_000_987_654_321))
    os.utime(root / "broken", ns=(10**18, 10**18), follow_symlinks=False)
    os.utime(folder, ns=(10**18, 10**18 + 5))


def listing(root: Path, *, content: bool = True) -> dict[bytes, tuple[object, ...]]:
    """Describe everything under a folder: kind, rights, time of change, and what is in it (a digest, or where it leads)."""
    found: dict[bytes, tuple[object, ...]] = {}
    base = os.fsencode(root)
    for where, folders, files in os.walk(base):
        for name in [*folders, *files]:
            path = os.path.join(where, name)
            one = os.lstat(path)
            inner: object = None
            if stat.S_ISLNK(one.st_mode):
                inner = os.readlink(path)
            elif stat.S_ISREG(one.st_mode) and content:
                with open(path, "rb") as file:
                    inner = hashlib.file_digest(file, "sha256").digest()
            found[os.path.relpath(path, base)] = (one.st_mode, one.st_uid, one.st_gid, one.st_mtime_ns, inner)
    return found


#: What is in the folder $0, by tools that nobody here wrote: kinds, rights, owners, sizes, times and where links lead of all
#: but folders; the same of folders but for their sizes, which are the file system's own; and a digest of every file.
_TOOLS = """
cd "$0" || exit 1
find . ! -type d -printf '%y %m %U %G %s %T@ %l %P\\0' | sort -z | sha256sum
find . -type d -printf '%m %U %G %T@ %P\\0' | sort -z | sha256sum
find . -type f -print0 | sort -z | xargs -0r sha256sum -z | sha256sum
"""


def fingerprint(root: Path) -> str:
    """Describe everything under a folder by ``find`` and ``sha256sum``: the same words of two folders that are the same."""
    done = subprocess.run(["bash", "-o", "pipefail", "-c", _TOOLS, str(root)], check=True, capture_output=True, text=True)
    assert done.stderr == ""
    return done.stdout
