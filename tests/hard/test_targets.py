"""Every reader of text from outside, with its examples bent at random; ``python -m tests.hard fuzz`` does it for longer."""

from __future__ import annotations

import random

import pytest

from tests.hard.targets import TARGETS

#: What readers have tripped over before, anywhere.
NASTY = (
    b"",
    b"\0",
    b"\xff\xfe",
    b"\x1b[2J",
    "\u202e".encode(),
    b"9" * 400,
    b"1e999",
    b"nan",
    b"-",
    b"=1+1",
    b'"' * 3,
    b"[" * 2000,
)


def bent(example: bytes, chance: random.Random) -> bytes:
    """Change an example in a few places: bytes turned, cut out, doubled, or something nasty put in."""
    data = bytearray(example)
    for _ in range(chance.randrange(1, 6)):
        place = chance.randrange(len(data) + 1)
        match chance.randrange(4):
            case 0 if data:
                data[place % len(data)] = chance.randrange(256)
            case 1:
                del data[place : place + chance.randrange(1, 20)]
            case 2:
                data[place:place] = data[place : place + chance.randrange(1, 40)]
            case _:
                data[place:place] = chance.choice(NASTY)
    return bytes(data)


@pytest.mark.parametrize("name", TARGETS)
def test_examples_and_what_becomes_of_them(name: str) -> None:
    target = TARGETS[name]
    for example in (*target.examples, *NASTY):
        target.check(example)
    chance = random.Random(name)
    for _ in range(300 if name not in ("sheets", "kit", "documents", "sysfs") else 60):
        target.check(bent(chance.choice(target.examples), chance))
