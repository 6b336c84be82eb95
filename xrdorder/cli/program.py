"""How every command starts and ends: errors as one line, exit codes, no traceback for what a user can mend."""

import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from xrdorder.exceptions import XrdorderError

ALL_WELL, SOME_FAILED, WRONG_USE, INTERRUPTED = 0, 1, 2, 130
"""Exit codes; 130 is what shells use for Ctrl-C."""


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
        try:
            code = super().main(args, name, complete_var, standalone_mode=False, **extra)
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
        sys.exit(code if isinstance(code, int) else ALL_WELL)


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
    for line in message.splitlines() or [""]:
        click.echo(f"xrdorder: {line}", err=True)
