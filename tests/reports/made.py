"""A study that was never run: results of `tests.figures.made`, with a made pattern for each sample."""

from dataclasses import dataclass, replace

import numpy as np

from tests import descriptions
from tests.explanation import explained
from tests.figures import made
from xrdorder.relations import PUBLISHED

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


def opened(folder, title="A made study", pieces=made.PIECES, more=(), sizes=(), samples=()):
    results = made.results(pieces, more, sizes=sizes)
    results.attrs["title"] = title
    return Opened(descriptions.study(folder, samples, ("nb3sn",), title=title), results)
