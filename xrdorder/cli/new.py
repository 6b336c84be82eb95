"""Begin a study."""

from pathlib import Path

import click

from xrdorder.cli.console import File, show


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--name", default="", help="Title of the study; the name of the folder unless given.")
def new(study: Path, name: str) -> None:
    """Create a template study.toml in the folder STUDY.

    It is valid as it stands, with examples and remarks: put patterns into STUDY/patterns, change what is yours, and
    run it. A study that is there already is never replaced.
    """
    from xrdorder.description.new_study import new_study

    written = new_study(study, name)
    show(
        File("Written", f"{written}: edit it, and put patterns into {written.parent / 'patterns'}"),
        File("Then", f"xrdorder run {study}"),
    )
