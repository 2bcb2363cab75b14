"""The cost model of an entry with files of several sizes: what a file costs, what a byte costs, and how well that fits."""

from __future__ import annotations

import math
from typing import Any

from copytime.analysis.costs import CostModel, Load, fit_costs
from copytime.records import Direction, Qualification, Witness, Workload
from copytime.units import percent_text, rate_text, significant, size_text, with_margin

__all__ = ["cost_models", "cost_objects", "costs_text"]

#: Sizes of files that a model must have seen.
_SIZES = 4

#: A single size that the model misses by more than this is named.
_MISSED = 0.10


def cost_models(one: Qualification) -> dict[Direction, CostModel]:
    """Fit a model for each direction in which files of at least four sizes were moved; empty where none was."""
    found = {}
    for direction in Direction:
        loads = [
            Load(each.files, each.payload_bytes, each.elapsed_ns / 1e9)
            for each in one.passes
            if each.workload is Workload.SMALL
            and each.direction is direction
            and each.counts
            and each.witness is not Witness.CACHED
        ]
        if one.conditions.get("cost_model") and len({load.size_bytes / load.files for load in loads}) >= _SIZES:
            found[direction] = fit_costs(loads)
    return found


def costs_text(one: Qualification) -> str | None:
    """Write the models for a terminal; None where there is none."""
    lines = []
    for direction, found in cost_models(one).items():
        halves = found.margins()
        each = _each(found)
        about = f" ± {percent_text(halves[1] / found.per_byte)}" if halves is not None and found.per_byte else ""
        rate = f"{rate_text(found.rate)} MB/s" if math.isfinite(found.rate) else "no bound seen"
        told = 0 < found.half_rate_bytes < math.inf
        half = (
            f"half of that at files of {size_text(found.half_rate_bytes)}"
            if told
            else "where it is half of that cannot be told"
        )
        lines.append(f"{direction.value:<10}  {each}; ever larger files approach {rate}{about}; {half}")
        worst = max(found.residuals, key=abs)
        lines.append(f"            the model leaves {percent_text(found.spread)} over (standard deviation), at most "
                     f"{percent_text(abs(worst))}")  # fmt: skip
        if abs(worst) > _MISSED:
            lines.append("            it does not fit every size well: do not predict by it to better than that")
    if not lines:
        return None
    return "\n".join(
        ["costs     time = a for each file + b for each byte, within what was measured and never past a drop", *lines]
    )


def _each(found: CostModel) -> str:
    """Say what a file costs; what lies at its bound of zero is not known to be nothing."""
    halves = found.margins()
    if not found.per_file:
        return "no cost of a file by itself can be told"
    each = _ms(found.per_file) if halves is None else with_margin(found.per_file * 1e3, halves[0] * 1e3)
    return f"each file costs {each} ms"


def _ms(seconds: float) -> str:
    return significant(seconds * 1e3, 3)


def cost_objects(one: Qualification) -> list[dict[str, Any]] | None:
    """Write the models for a document; None, and so no key, where there is none."""
    made = []
    for direction, found in cost_models(one).items():
        halves = found.margins()
        made.append(
            {
                "direction": direction.value,
                "per_file_seconds": found.per_file,
                "per_file_margin_seconds": halves[0] if halves and found.per_file else None,
                "asymptotic_mb_per_s": found.rate / 1e6 if math.isfinite(found.rate) else None,
                "seconds_per_byte": found.per_byte,
                "seconds_per_byte_margin": halves[1] if halves and found.per_byte else None,
                "half_rate_bytes": found.half_rate_bytes if math.isfinite(found.half_rate_bytes) else None,
                "spread_percent": found.spread * 100,
                "residuals_percent": [each * 100 for each in found.residuals],
            }
        )
    return made or None
