"""Holding sleep off, with the call of Windows played."""

from __future__ import annotations

import pytest

from copytime.engine import awake


@pytest.mark.parametrize(("answer", "agreed"), [(0x80000000, True), (0, False)])
def test_windows_is_told_before_and_after(monkeypatch: pytest.MonkeyPatch, answer: int, *, agreed: bool) -> None:
    told: list[int] = []

    def set_state(state: int) -> int:
        told.append(state)
        return answer

    monkeypatch.setattr(awake, "_windows_state", lambda: set_state)
    seen: list[object] = []

    def work() -> None:
        with awake.kept_awake() as held:
            seen.extend([held, *told])
            raise KeyError

    with pytest.raises(KeyError):
        work()
    assert seen == [agreed, 0x80000001]
    assert told == [0x80000001, 0x80000000]


def test_other_systems_have_no_such_call() -> None:
    assert awake._windows_state() is None
