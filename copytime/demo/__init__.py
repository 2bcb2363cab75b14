"""An invented bench: the volunteers' games library of Lantern Quay, to try every command on without a drive.

Nothing in it was ever measured. ``truth`` says how fast each invented part is, ``bench``, ``streams`` and ``noted`` let
bytes go through chains of them - the slowest part decides, or a part takes its own time on top - with the noise that days
and repeats have, and ``writing`` puts it all into a logbook that is marked as invented. The seed is fixed, so that the same
records come out every time.
"""

from copytime.demo.writing import CAMPAIGN, write_demo

__all__ = ["CAMPAIGN", "write_demo"]
