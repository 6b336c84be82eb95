"""Show on invented patterns what the program does."""

import shutil
from pathlib import Path

import click

from xrdorder.cli.console import details_option, show
from xrdorder.cli.options import again_option, workers_option
from xrdorder.cli.program import SOME_FAILED
from xrdorder.cli.run import run_and_show
from xrdorder.exceptions import StudyError
from xrdorder.reports.cautions import BRIEF as CAUTIONS

INVENTED = "Invented data: no such wire exists, nothing here was measured."

COPIED = (".toml", ".xy", ".md")
"""What of the invented study is copied; the script that made it needs a checkout."""


@click.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("xrdorder-demo"),
    show_default=True,
    help="Folder for the study and its results.",
)
@again_option
@workers_option
@details_option
@click.pass_context
def demo(ctx: click.Context, out: Path, again: bool, workers: int | None, details: bool) -> None:
    """Fit an invented study of two wire lots.

    It is calibrated, fitted and tabulated. The study is copied to a folder, where it may be read and changed; xrdorder
    run works on it as well.
    """
    from xrdorder.description.study import read_study

    copy_study(demo_source(), out)
    first: dict[str, str] = {}
    for sample in read_study(out).samples:
        first.setdefault(sample.lot.name, sample.name)
    results = run_and_show(
        out, again=again, workers=workers, figures=True, details=details, introduction=INVENTED, drawn=first.values()
    )
    show("", *CAUTIONS)
    if results.attrs["failed"]:
        ctx.exit(SOME_FAILED)


def demo_source() -> Path:
    """Find the invented study: inside an installed package, or beside it in a checkout.

    Raises
    ------
    StudyError
        It is in neither place.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "demo_patterns", package.parent / "demo_patterns"):
        if (folder / "study.toml").is_file():
            return folder
    raise StudyError(f"{package}: holds no demo_patterns; install the package again")


def copy_study(source: Path, target: Path) -> None:
    """Copy the study; a folder that holds another study is left alone.

    Raises
    ------
    StudyError
        The target holds a study that is not this one, or cannot be written.
    """
    description = target / "study.toml"
    try:
        if description.is_file() and description.read_bytes() != (source / "study.toml").read_bytes():
            raise StudyError(
                f"{target}: holds another study, or a changed one; run it with xrdorder run, or choose another --out"
            )
        target.mkdir(parents=True, exist_ok=True)
        for file in sorted(source.iterdir()):
            if file.suffix in COPIED:
                shutil.copyfile(file, target / file.name)
    except OSError as error:
        raise StudyError(f"{target}: cannot be written ({error.strerror}); choose another --out") from error
