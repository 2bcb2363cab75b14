"""The command line: every command parses, calls one function of the library, and renders what comes back.

``main`` is the one place where errors and signals become words on stderr and an exit code.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, NoReturn

from copytime.cli import ending

if TYPE_CHECKING:
    import click

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and exit with one of the codes in copytime.errors.ExitCode."""
    try:
        code = run(sys.argv[1:] if arguments is None else list(arguments))
    except KeyboardInterrupt:  # before or after the work, where nothing is left to clean up
        code = _interrupted()
    ending.rest()
    if code == 130:
        ending.leave_soon()
    _let_go_of_streams()
    sys.exit(code)


def run(arguments: Sequence[str]) -> int:
    """Run the command line and return its exit code; whatever goes wrong is said in one or two lines on stderr."""
    from copytime.errors import ExitCode

    _open_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal that knows no plus-minus sign must not end the program
            stream.reconfigure(errors="backslashreplace")
    ending.listen()
    try:
        code = _guarded(arguments)
        ending.rest()
        sys.stdout.flush()
    except BrokenPipeError:
        return _pipe_closed()
    except KeyboardInterrupt:
        return _interrupted()
    except OSError as error:
        _say_last(f"error: cannot write the answer: {error.strerror}")
        return ExitCode.FAILED
    return code


def _interrupted() -> int:
    """Say that the work was broken off; click may not be loaded yet."""
    ending.rest()
    _say_last("interrupted")
    return 130  # ExitCode.INTERRUPTED, without another import that a second Ctrl-C could meet


def _say_last(words: str) -> None:
    """Say something when all else is over; a terminal that is gone hears nothing."""
    with contextlib.suppress(OSError):
        print(words, file=sys.stderr)  # noqa: T201 - reason: click may not be loaded


def _let_go_of_streams() -> None:
    """Throw away what can no longer be written: a terminal is gone, a disk full, a pipe closed.

    Python tries once more while it ends, and then ends with a code of its own (120) instead of ours.
    """
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _open_closed_streams() -> None:
    """Put nothing in place of streams that whoever started us has closed (``>&-``), which Python leaves as None.

    In this order they get the descriptors that were closed, so that no file opened later is taken for one of them.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115 - reason: open to the end


def _guarded(arguments: Sequence[str]) -> int:
    """Run the command line; expected errors become an exit code, a fault of ours is told as one."""
    import click

    from copytime.cli.app import app
    from copytime.cli.voice import say_error
    from copytime.errors import CopytimeError, ExitCode
    from copytime.safetext import plain

    debug = bool(os.environ.get("COPYTIME_DEBUG"))
    try:
        result = _called(app, arguments)
        return int(result) if isinstance(result, int) else ExitCode.DONE
    except click.UsageError as error:
        return _misused(error)
    except click.ClickException as error:
        say_error(_harmless(error.format_message()))
        return ExitCode.USAGE
    except (click.Abort, KeyboardInterrupt):
        ending.rest()
        if debug:
            raise
        say_error("interrupted")
        return ExitCode.INTERRUPTED
    except CopytimeError as error:
        if debug:
            raise
        say_error(error.message, error.hint)
        return error.exit_code
    except (BrokenPipeError, RecursionError):
        raise
    except Exception as error:
        if debug or (isinstance(error, OSError) and error.filename is None):
            raise
        say_error(
            f"{type(error).__name__}: {plain(error, limit=1000)}",
            "This is a fault of copytime. COPYTIME_DEBUG=1 shows where; please report it.",
        )
        return ExitCode.FAILED


def _called(app: click.Group, arguments: Sequence[str]) -> object:
    """Run the command line. Raises what it raises, and KeyboardInterrupt for what somebody made of a request to end."""
    try:
        return app.main(args=list(arguments), prog_name="copytime", standalone_mode=False)
    except Exception:
        if ending.is_asked():
            raise KeyboardInterrupt from None
        raise


def _harmless(said: str) -> str:
    """Return what click says of wrong words, which it repeats as they were typed, in lines that a terminal can be shown."""
    from copytime.safetext import plain

    return "\n".join(plain(line.expandtabs(), limit=400) for line in said.splitlines()[:20])


def _misused(error: click.UsageError) -> int:
    """Tell what was wrong with the words of the command line; a command that lacks its command prints the help."""
    import click

    from copytime.cli.voice import answer, say_error
    from copytime.errors import ExitCode

    if type(error).__name__ == "NoArgsIsHelpError" and error.ctx is not None:  # by name: click before 8.2 has none
        answer(error.ctx.get_help())
        return ExitCode.DONE
    if isinstance(error, click.NoSuchOption) and error.option_name[1:2].isdecimal():  # a negative number, not an option
        from copytime.units import Unreadable

        wrong = Unreadable(error.option_name, 0, "no number below zero: sizes and times have no sign", what="argument")
        say_error(wrong.message, wrong.hint)
        return ExitCode.USAGE
    command = error.ctx.command_path if error.ctx is not None else "copytime"
    say_error(_harmless(error.format_message()), f"'{command} --help' shows how it is used.")
    return ExitCode.USAGE


def _pipe_closed() -> int:
    """Leave quietly when whoever reads our output has gone; the code is the shell's for SIGPIPE."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 141
