"""Do it from a terminal.

Each command has a module of its own which parses, makes one library call and shows the answer; what is said of a result
stands in `xrdorder.views`. Only click is imported until a command runs, so that help comes at once.
`program` turns errors into one line and an exit code, `options` holds what commands share, `console` is the one door to
the terminal: paragraphs, tables, progress.

Exit codes: 0 all went well; 1 some patterns could not be fitted, or some figures not drawn (the others are saved);
2 wrong use or unusable input; 3 what nobody foresaw, with details in a log file.
"""

import os

import click

from xrdorder import __version__
from xrdorder.cli import (
    calibrate,
    compare,
    demo,
    estimate,
    evidence,
    explain,
    fields,
    fit,
    measured,
    new,
    plan_scan,
    relations,
    report,
    run,
    series,
    simulate,
    strain_free,
    suggest,
    tin_scale,
)
from xrdorder.cli.program import Program

__all__ = ["main"]


@click.group(cls=Program, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, message="%(prog)s %(version)s")
def main() -> None:
    """Lattice parameter, order, tin, Tc and Bc2 of Nb3Sn wire from X-ray powder patterns.

    Start with `xrdorder demo`. On patterns of your own: calibrate the instrument with a certified powder, then fit
    patterns, or run a study that describes wires and heat treatments.

    Tc and Bc2 are estimates by published evidence, never measurements.
    """
    # Fits run in as many processes as there are cores. Threads below them would only be in each other's way.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


for command in (
    demo.demo,
    calibrate.calibrate,
    fit.fit,
    new.new,
    run.run,
    series.series,
    compare.compare,
    measured.measured,
    fields.fields,
    suggest.suggest,
    simulate.simulate,
    plan_scan.plan_scan,
    explain.explain,
    report.report,
    estimate.estimate,
    relations.relations,
    evidence.evidence,
    tin_scale.tin_scale,
    strain_free.strain_free,
):
    main.add_command(command)
