"""Begin a study."""

from pathlib import Path

import click


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--name", default="", help="Title of the study; the name of the folder unless given.")
def new(study: Path, name: str) -> None:
    """Write a study.toml to begin with into the folder STUDY.

    It is valid as it stands, with examples and remarks: put patterns into STUDY/patterns, change what is yours, and
    run it. A study that is there already is never replaced.
    """
    from xrdorder.description.template import new_study

    written = new_study(study, name)
    click.echo(f"Written      {written}: edit it, and put patterns into {written.parent / 'patterns'}")
    click.echo(f"Then         xrdorder run {study}")
