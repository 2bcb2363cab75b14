"""What a file costs and what a byte costs: small files of several sizes, each size in passes of its own."""

from __future__ import annotations

import secrets
from collections import Counter
from dataclasses import replace

from copytime.attached import Platform
from copytime.engine.blocks import Stop, never
from copytime.engine.recipe import Recipe, described
from copytime.engine.scratch import Scratch
from copytime.engine.small import SmallFiles
from copytime.engine.system import Folder, System
from copytime.errors import InputError, from_os_error
from copytime.logbook import Logbook
from copytime.records import ProgressCallback
from copytime.visits.means import means
from copytime.visits.options import Options
from copytime.visits.plan import Plan
from copytime.visits.qualify import Outcome, Visit
from copytime.visits.work import Work
from copytime.visits.works import SmallWork, answered_elsewhere

__all__ = ["SIZES", "SIZES_BRIEF", "measure_model", "model_options"]

#: Sizes and numbers of files of the usual fit: from where the cost per file decides to where the bytes do.
SIZES = "8KiB*2000,64KiB*1000,512KiB*250,4MiB*60,32MiB*10"

#: As above, of a brief look.
SIZES_BRIEF = "8KiB*300,64KiB*200,512KiB*60,4MiB*12"

#: Sizes that a fit needs: two would be fitted exactly and leave nothing to see how good the model is.
_LEAST = 4

#: Usual repeats of each size, which stand beside each other in the fit.
_REPEATS = 3


def model_options(options: Options) -> Options:
    """Turn what was asked into what a fit needs: no large file, files of at least four sizes. Raises InputError."""
    if options.large:
        raise InputError("--model fits small files", hint="Leave out --large.")
    if options.small is not None and options.small_sizes is None:
        raise InputError("--small does not say which sizes", hint=f"Such as --small-sizes {SIZES_BRIEF}.")
    words = options.small_sizes or (SIZES_BRIEF if options.brief else SIZES)
    parts = [part.partition("*")[2].strip() or "1" for part in words.split(",")]
    count = options.small or sum(int(part) for part in parts if part.isdecimal())
    sizes = set(described(words, max(count, 1)).sizes)
    if len(sizes) < _LEAST:
        raise InputError(
            f"a cost model needs files of at least {_LEAST} sizes: found {len(sizes)}",
            hint=f"Such as --small-sizes {SIZES_BRIEF}, sizes with numbers of files.",
        )
    return replace(options, large=0, small=count, small_sizes=words, repeats=options.repeats or _REPEATS)


def measure_model(
    plan: Plan,
    *,
    logbook: Logbook | None = None,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
    platform: Platform | None = None,
    system: System | None = None,
) -> Outcome:
    """Carry out a plan whose options come from ``model_options``; see qualify.measure."""
    return _Sizes(plan, means(logbook, progress, stop, platform, system)).run()


class _Sizes(Visit):
    """One run over several sizes of files."""

    def _works(self, scratch: Scratch) -> list[Work]:
        self.conditions["cost_model"] = True
        each = self.system.flush_each or answered_elsewhere(self.target)
        counts = Counter(self.plan.payloads.small.sizes)
        made: list[Work] = []
        for number, (size, count) in enumerate(sorted(counts.items())):
            recipe = Recipe(described(f"{size}B", 1).name, (size,) * count)
            made.append(
                _SizeWork(
                    self.system,
                    scratch.folder,
                    recipe,
                    run=secrets.randbits(64),
                    workers=self.options.workers,
                    each=each,
                    name=f"d{number:04d}",  # a name that the scratch folder knows for its own,
                )
            )
        return made


class _SizeWork(SmallWork):
    """Files of one size in a folder of their own, beside those of the other sizes; see Work."""

    def __init__(
        self, system: System, folder: Folder, recipe: Recipe, *, run: int, workers: int, each: bool, name: str
    ) -> None:
        try:
            self._own = folder.make_folder(name)
        except OSError as error:
            raise from_os_error(error, "creating a folder for small files") from error
        method = system.each_flush_method if each else system.small_flush_method
        super().__init__(SmallFiles(system, self._own, recipe, run=run, workers=workers, each=each), flush_method=method)

    def close(self) -> None:
        """See Work."""
        super().close()
        self._own.close()
