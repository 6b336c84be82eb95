"""Patterns of specimens that were never measured."""

from pathlib import Path

import click

from xrdorder.cli.console import Entry, File, Progress, show
from xrdorder.cli.options import EXISTING_FILE

_FORMATS = ("xy", "csv", "cif", "nxs")


@click.command()
@click.argument("description", type=EXISTING_FILE)
@click.option("--instrument", required=True, type=EXISTING_FILE, help="Instrument file from xrdorder calibrate.")
@click.option(
    "--out", required=True, type=click.Path(path_type=Path),
    help="Pattern to write (.xy, .txt, .dat, .csv, .cif, .nxs); of a study, its folder.",
)  # fmt: skip
@click.option("--seed", type=click.IntRange(min=0), default=0, show_default=True, help="Of the noise, and of scatter.")
@click.option("--expected", is_flag=True, help="Expected counts, without noise.")
@click.option("--repeats", type=click.IntRange(1, 999), default=1, show_default=True, help="Scans of one specimen.")
@click.option("--format", "ending", type=click.Choice(_FORMATS), default="xy", show_default=True,
              help="Of the patterns of a study.")  # fmt: skip
@click.option("--truth", "truth_format", type=click.Choice(("toml", "json")), default="toml", show_default=True,
              help="Format of the file beside each pattern that says what was put in.")  # fmt: skip
def simulate(
    description: Path, instrument: Path, out: Path, seed: int, expected: bool, repeats: int, ending: str,
    truth_format: str,
) -> None:  # fmt: skip
    """Simulate patterns of a described specimen or study.

    With the truth that was put in beside each. The forward model of the fits, for planning, teaching and rehearsing an
    analysis; docs/howto/scan-planning.md lists the keys of a description. Nothing that is made here was measured.
    """
    from xrdorder.profiles import read_instrument
    from xrdorder.simulation.rehearsal import is_study, read_rehearsal, write_rehearsal
    from xrdorder.simulation.scans import NOTICE, write_scan
    from xrdorder.simulation.specimen_file import read_description

    used = read_instrument(instrument)
    drawn = None if expected else seed
    if is_study(description):
        if repeats > 1:
            raise click.BadParameter("--repeats is for one specimen; in a study, give its samples wires = ...")
        study = read_rehearsal(description, drawn)
        with Progress("simulating") as progress:
            target = write_rehearsal(
                study, used, out, seed=drawn, ending=ending, truth_format=truth_format, progress=progress
            )
        show(f"{len(study.pieces)} patterns simulated: {study.title}", NOTICE, "", File("Study", str(target)),
             Entry("Next", f"xrdorder run {out}"))  # fmt: skip
        return
    specimen = read_description(description)
    written = [
        write_scan(specimen, used, path, None if drawn is None else drawn + k, truth_format)
        for k, path in enumerate(_paths(out, repeats))
    ]
    show(
        f"{repeats} scan{'s' if repeats > 1 else ''} simulated, {specimen.from_deg:g} to {specimen.to_deg:g} degrees, "
        f"{len(specimen.two_theta()) * specimen.seconds_per_step / 3600.0:.2g} h each",
        NOTICE,
        "",
        *(part for pattern, truth in written for part in (File("Pattern", str(pattern)), File("Truth", str(truth)))),
        Entry("Next", f"xrdorder fit {written[0][0]} --instrument {instrument}"),
    )


def _paths(out: Path, repeats: int) -> list[Path]:
    """Names of repeated scans: a number behind the name."""
    return [out] if repeats == 1 else [out.with_name(f"{out.stem}-{k + 1}{out.suffix}") for k in range(repeats)]
