"""A study that was never run: results of `tests.figures.made`, with a made pattern for each sample."""

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from tests import descriptions
from tests.explanation import explained
from tests.figures import made
from xrdorder.relations import PUBLISHED
from xrdorder.results.sample_file import StoredSample

HOSTILE = "<img src=x onerror=\"window.hurt=1\">&'</script>"


@dataclass(frozen=True)
class Opened:
    """As `xrdorder.results.open_study.open_study` gives it."""

    study: object
    results: object

    def library(self):
        return PUBLISHED

    def require_as_run(self):
        """What is described here was never run."""

    def sample(self, name, groups=()):
        lines = made.lines()
        n = lines.sizes["line"]
        lines = lines.assign(
            d_nm=("line", 0.0770297 / np.sin(np.radians(lines["two_theta"].values / 2.0))),
            fwhm=("line", np.full(n, made.WIDTH_DEG)),
        )
        sample = explained.sample(name)
        flags = (*sample.flags, ("said", HOSTILE))
        groups = {"curves": made.curves(), "lines": lines, "phases": made.phases()}
        return replace(sample, flags=flags, groups=sample.groups | groups)


CROSS_CHECKS = xr.Dataset(
    {"a_nm": ("route", [made.A_NM, made.A_NM + 1e-6]), "u_a_nm": ("route", [1e-6, 2e-6])},
    coords={"route": np.array(["whole pattern", "single lines"], dtype=object)},
)
PARAMETERS = xr.Dataset(
    {"value": ("parameter", [-0.033]), "stderr": ("parameter", [0.002]), "vary": ("parameter", [1])},
    coords={"parameter": np.array(["specimen_displacement_mm"], dtype=object)},
)


class OpenedWithLines(Opened):
    """With single lines; samples whose name begins with `failed` have no result."""

    def sample(self, name, groups=()):
        if name.startswith("failed"):
            return StoredSample(name, "failed: a gap")
        found = super().sample(name)
        more = {"single_lines": made.single_lines(), "cross_checks": CROSS_CHECKS, "parameters": PARAMETERS}
        return replace(found, groups={**found.groups, **more})


def opened(folder, title="A made study", pieces=made.PIECES, more=(), sizes=(), samples=(), amounts=()):
    results = made.results(pieces, more, sizes=sizes, amounts=amounts)
    results.attrs["title"] = title
    return Opened(descriptions.study(folder, samples, ("nb3sn",), title=title), results)
