"""The tutorial, followed as it stands; ``python -m tests.docs.tutorial`` puts its screens there anew."""

import re
import shlex
import subprocess
import tempfile
from collections.abc import Callable
from contextlib import chdir
from pathlib import Path

from click.testing import CliRunner

from xrdorder.cli import main

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "tutorial.md"
STEP = re.compile(r"<!-- (run|file|prints) ?(\S*) -->\n```(\w*)\n(.*?)```", re.DOTALL)


def follow(text: str, folder: Path, seen: Callable[[str, str], None] = lambda command, screen: None) -> str:
    """Write the files and run the commands of a page in a folder; return the page with the screens of this run.

    ``seen`` is handed every command with what it printed. A command that fails ends it with a RuntimeError.
    """
    (folder / "demo_patterns").symlink_to(ROOT / "demo_patterns")
    screen = ""

    def step(found: re.Match[str]) -> str:
        nonlocal screen
        kind, argument, language, body = found.groups()
        if kind == "file":
            (folder / argument).write_text(body, encoding="utf-8")
        elif kind == "run":
            for command in body.replace("\\\n", " ").splitlines():
                screen = _run(command)
                seen(command, screen)
        else:
            shown = "\n".join(line.rstrip() for line in screen.strip("\n").splitlines()[: int(argument)])
            return f"<!-- {kind} {argument} -->\n```{language}\n{shown}\n```"
        return found[0]

    with chdir(folder):
        return STEP.sub(step, text)


def _run(command: str) -> str:
    """One line of the page: a command of ours in this process, another by the shell."""
    name, *words = shlex.split(command)
    if name != "xrdorder":
        return subprocess.run(
            command, shell=True, check=True, capture_output=True, text=True, timeout=60
        ).stdout
    result = CliRunner(env={"COLUMNS": "80"}).invoke(main, words)
    if result.exit_code:
        raise RuntimeError(f"{command}: exit code {result.exit_code}\n{result.output}")
    return result.stdout


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        PAGE.write_text(follow(PAGE.read_text(encoding="utf-8"), Path(name)), encoding="utf-8")
