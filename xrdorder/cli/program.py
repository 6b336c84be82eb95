"""How every command starts and ends: errors as one line, exit codes, and never a traceback.

What nobody foresaw is a line as well, with what to do and the log file that holds the details (`xrdorder.faults`).
"""

import io
import os
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from xrdorder.exceptions import XrdorderError
from xrdorder.faults import cause, recorded
from xrdorder.running.collection import collect_seldom

ALL_WELL, SOME_FAILED, WRONG_USE, FAULT, INTERRUPTED, UNREAD = 0, 1, 2, 3, 130, 1
"""Exit codes; 130 is what shells use for Ctrl-C, and 1 what click has where nobody reads the output any more."""

_REMEDIES: tuple[tuple[type[Exception], str], ...] = (
    (MemoryError, "close other programs, or fit fewer patterns at a time (--workers 1), and run again"),
    (RecursionError, "an input is nested too deeply: write it flatter"),
    (UnicodeError, "a name or a text is no UTF-8: rename the file, or write it in UTF-8"),
    (OSError, "see to disk and rights, and run again"),
    (Exception, "this was not foreseen: run again, and if it comes again, ask whoever maintains xrdorder"),
)
"""What to do about an error that reached the end of the program; the first that fits."""


class Program(click.Group):
    """A group of commands that says what is wrong in lines that begin with the program's name."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """List commands in the order in which they are used."""
        return list(self.commands)

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        """Run, and turn errors into messages and exit codes unless asked not to (`standalone_mode`)."""
        name = prog_name or "xrdorder"
        if not standalone_mode:
            return super().main(args, name, complete_var, standalone_mode=False, **extra)
        _bear_any_letter(sys.stdout)
        collect_seldom()
        try:
            code = super().main(args, name, complete_var, standalone_mode=False, **extra)
            sys.stdout.flush()
        except click.exceptions.NoArgsIsHelpError as error:
            error.show()
            sys.exit(WRONG_USE)
        except click.UsageError as error:
            _end(_one_line(error), WRONG_USE)
        except click.ClickException as error:
            _end(error.format_message(), WRONG_USE)
        except XrdorderError as error:
            _end(str(error), WRONG_USE)
        except (click.Abort, KeyboardInterrupt):
            _end("interrupted; what was finished is kept, run again to go on", INTERRUPTED)
        except BrokenPipeError:
            _close_output()
            sys.exit(UNREAD)
        except Exception as error:  # the last net: whatever it is, it is one line
            _close_output()
            _end(_unforeseen(error), FAULT)
        sys.exit(code if isinstance(code, int) else ALL_WELL)


def _unforeseen(error: Exception) -> str:
    """Say what went wrong, what to do, and where the details are."""
    remedy = next(words for kind, words in _REMEDIES if isinstance(error, kind))
    path = recorded(error)
    return f"{cause(error)}; {remedy}; nothing stored before is lost" + (f"; details in {path}" if path else "")


def _bear_any_letter(stream: Any) -> None:
    """Print letters that a terminal has none for, or a name that is no UTF-8, by their numbers."""
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors="backslashreplace")


def _close_output() -> None:
    """Drop what could not be printed, or the interpreter would complain of it once more as it ends."""
    try:
        sys.stdout.flush()
    except OSError:
        try:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        except (OSError, ValueError):
            return


def _one_line(error: click.UsageError) -> str:
    """Put a complaint of the parser into one line, with the way to the help."""
    message = " ".join(error.format_message().split())
    if error.ctx is None:
        return message
    return f"{message.rstrip('.')}; see {error.ctx.command_path} --help"


def _end(message: str, code: int) -> NoReturn:
    complain(message)
    sys.exit(code)


def complain(message: str) -> None:
    """Print an error; a message of several lines holds one problem in each."""
    try:
        for line in message.splitlines() or [""]:
            click.echo(f"xrdorder: {line}", err=True)
    except OSError:
        return  # nobody can be told; the exit code is left
