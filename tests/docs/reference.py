"""Pages of docs/reference, from the code they describe; ``python -m tests.docs.reference`` writes them anew."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import get_args

import click

import xrdorder
from tests.description.keys import by_table, measurable
from tests.outside.rows import SUBJECTS, Kind, digits, rows
from xrdorder.cli import main
from xrdorder.quantities.flag_words import FLAGS
from xrdorder.quantities.grades import GRADES, MISSING_INFORMATION
from xrdorder.quantities.registry import QUANTITIES, columns
from xrdorder.relations import relations
from xrdorder.relations.entry import KINDS, LABELS
from xrdorder.results.sample_file import STATES

FOLDER = Path(__file__).parents[2] / "docs" / "reference"
EXIT_CODES = {
    "0": "done; of a batch, all patterns were fitted",
    "1": "some patterns failed, or some figures could not be drawn; everything else is saved, the reasons are printed",
    "2": "wrong use or unusable input; one line says what, where, and what to do",
    "3": "an error that was not foreseen; one line says what to do and names the log file with the details (in "
    "`$XDG_STATE_HOME/xrdorder` or `~/.local/state/xrdorder`, on Windows `%LOCALAPPDATA%\\xrdorder`)",
}
WRITTEN = "Written from the code by `python -m tests.docs.reference`."


def commands() -> Iterator[str]:
    """Every command: what it does, how it is called, what its arguments and options mean."""
    yield "# Commands"
    yield f"{WRITTEN} `xrdorder COMMAND --help` prints the same."
    yield (
        "Every command answers first, then shows one table; `--details` prints everything behind it. Screens are as "
        "wide as the terminal. Colour shows the quality grade only (`NO_COLOR` is respected); what is piped is plain "
        "text."
    )
    yield table(("exit code", "meaning"), list(EXIT_CODES.items()))
    context = click.Context(main, info_name="xrdorder")
    for name, command in main.commands.items():
        inside = click.Context(command, parent=context, info_name=name)
        usage = " ".join(command.get_usage(inside).removeprefix("Usage: ").split())
        yield f"## {name}"
        yield f"```\n{usage}\n```"
        yield from _prose(command.help or "")
        options = [record for p in command.params if (record := p.get_help_record(inside))]
        yield table(("option", "meaning"), [(f"`{_flat(left)}`", _flat(right)) for left, right in options])


def study_toml() -> Iterator[str]:
    """Every key of study.toml, with what belongs there."""
    yield "# Keys of study.toml"
    yield (
        f"{WRITTEN} What belongs to a key is also what messages say. "
        "[A study folder](../howto/study-folder.md) shows them at work; `xrdorder new` writes a file with examples."
    )
    for where, keys in by_table():
        yield f"## {where}"
        yield table(("key", "value"), keys)
    yield f"Keys of `[samples.measured]`: {measurable()}."


def quantities() -> Iterator[str]:
    """What every quantity is called, in which unit, and which columns show it."""
    yield "# Quantities and columns"
    yield (
        f"{WRITTEN} The name is that of `results.nc`, `xrdorder explain` and of `--quantity`; units are as shown. "
        "Columns are those of `results.csv`: `u_` is a standard uncertainty (k = 1), `_low` and `_high` bound a 68 % "
        "interval, `_independent` is what no other sample shares."
    )
    rows = []
    for name, quantity in QUANTITIES.items():
        shown = ", ".join(f"`{column.name}`" for column in columns([quantity]))
        meaning = quantity.long_name[:1].upper() + quantity.long_name[1:]
        rows.append((f"`{name}`", quantity.symbol, meaning, quantity.people.unit, shown))
    yield table(("name", "symbol", "what it is", "unit", "columns"), rows)


def flags() -> Iterator[str]:
    """What results say of themselves: states, grades, missing information, flags."""
    yield "# States, grades and flags"
    yield (
        f"{WRITTEN} A sample has one state, a grade of its fit with the reason, what nobody told about it, and any "
        "number of flags. The message of a flag, with numbers, stands in `flag_messages` of `results.nc`, in the log "
        "of a run and in `xrdorder explain`."
    )
    yield table(("state", "meaning"), [(f"`{name}`", meaning) for name, meaning in STATES.items()])
    yield table(("grade", "`quality` begins with"), [(name, f"`{words}`") for name, words in GRADES.items()])
    missing = [(words, f"`{flag}`") for flag, words in MISSING_INFORMATION.items()]
    yield table(("missing information", "flag"), missing)
    yield table(("flag", "what it says"), [(f"`{name}`", words) for name, words in FLAGS.items()])


def published_relations() -> Iterator[str]:
    """All relations by the question they answer."""
    yield "# Published relations"
    yield f"{WRITTEN} `xrdorder relations NAME` prints one with symbols, check points and what contradicts it."
    yield (
        "\n".join(["How known: ", *(f"`{name}`: {meaning};" for name, meaning in LABELS.items())]).rstrip(";")
        + "."
    )
    for kind, question in KINDS.items():
        entries = relations(kind)
        if entries:
            yield f"## {question[:1].upper()}{question[1:]}"
            rows = [(f"`{e.name}`", f"`{e.formula}`", e.wire, e.source, e.known) for e in entries]
            yield table(("relation", "formula", "wire", "source", "known"), rows)


def python() -> Iterator[str]:
    """Names that ``import xrdorder`` offers; the site fills in their documentation."""
    yield "# Python"
    yield (
        f"{WRITTEN} What `import xrdorder` offers, in alphabetical order; "
        "[notebooks](../howto/notebooks.md) show how. "
        "On the site every name has its documentation here; in Python `help(xrdorder.NAME)` prints it."
    )
    for name in xrdorder.__all__:
        thing = getattr(xrdorder, name)
        if isinstance(thing, type):
            yield f"```{{eval-rst}}\n.. autoclass:: xrdorder.{name}\n   :members:\n```"
        elif callable(thing):
            yield f"```{{eval-rst}}\n.. autofunction:: xrdorder.{name}\n```"


def outside() -> Iterator[str]:
    """Our numbers beside those of others."""
    table_of = {subject: rows(subject) for subject in SUBJECTS}
    number = {
        kind: sum(row.kind == kind for found in table_of.values() for row in found) for kind in get_args(Kind)
    }
    yield "# Checks against the outside"
    yield (
        f"{WRITTEN} Each row is a test. Ours and the other number are written to a tenth of the tolerance, within "
        f"which they agree for the reason given, unless the row says why they do not. "
        f"{number['independent']} rows are independent; "
        f"{number['shared input']} share a table or a constant with what they check; "
        f"{number['transcription']} come from the same paper on both sides and would show a slip of the pen only. "
        "*From memory*: the value was not read again when it was written down."
    )
    for subject, title in SUBJECTS.items():
        yield f"## {title}"
        lines = []
        for row in table_of[subject]:
            ours, other = (digits(value, row.tolerance) for value in row.values())
            how = row.known if row.kind == "independent" else f"{row.known}; {row.kind}"
            reason = f"**does not agree**: {row.disagrees}" if row.disagrees else row.reason
            lines.append((row.quantity, row.unit, ours, other, f"{row.tolerance:.1e}", reason, row.source, how))
        yield table(("quantity", "unit", "ours", "outside", "tolerance", "because", "source", "known"), lines)


PAGES: dict[str, Callable[[], Iterator[str]]] = {
    "commands.md": commands,
    "study-toml.md": study_toml,
    "quantities.md": quantities,
    "flags.md": flags,
    "relations.md": published_relations,
    "python.md": python,
    "outside.md": outside,
}


def page(name: str) -> str:
    """Return one page as it should stand in the folder."""
    return "\n\n".join(PAGES[name]()) + "\n"


def table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    """Return a table in Markdown."""
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(_cell(text) for text in line) + " |" for line in lines)


def _cell(text: str) -> str:
    return text.replace("|", r"\|")


def _flat(text: str) -> str:
    return " ".join(text.split())


def _prose(help_text: str) -> list[str]:
    """Paragraphs of a help text; what it keeps in its lines (after a form feed) stays a block."""
    paragraphs = []
    for paragraph in re.split(r"\n\s*\n", help_text.strip()):
        if paragraph.startswith("\b"):
            paragraphs.append("```\n" + paragraph.removeprefix("\b").strip("\n") + "\n```")
        else:
            paragraphs.append(_flat(paragraph))
    return paragraphs


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for file_name in PAGES:
        (FOLDER / file_name).write_text(page(file_name), encoding="utf-8")
