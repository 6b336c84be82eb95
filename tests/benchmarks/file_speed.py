"""How long reading and recognising take, as ratios to plain reading of the same bytes in the same run.

Run from the checkout: ``python -m tests.benchmarks.file_speed``. Nothing here is asserted.
"""

import tempfile
import tomllib
from pathlib import Path

import numpy as np
import xarray as xr

from tests.benchmarks.fit_speed import demo, seconds
from xrdorder.description.study import read_study
from xrdorder.files.sealed import read_sealed, write_sealed
from xrdorder.fitting import fit_pattern
from xrdorder.patterns import read_pattern
from xrdorder.results.netcdf import netcdf, read_groups

SAMPLES = 500


def sample(folder: Path) -> None:
    """Write and read the result of one sample; beside it xarray's own way with the same tables."""
    (pattern, instrument), *_ = demo()
    fit = fit_pattern(pattern, instrument)
    groups = {"curves": fit.curves, "lines": fit.lines}
    if fit.cross_checks is not None and fit.single_lines is not None:
        groups |= {"cross_checks": fit.cross_checks, "single_lines": fit.single_lines}
    path, root = folder / "sample.nc", xr.Dataset(attrs={"sample": "one"})

    def by_xarray() -> None:
        for name, group in groups.items():
            group.to_netcdf(folder / "other.nc", group=name, mode="a", engine="h5netcdf")

    def read_by_xarray() -> None:
        for name in groups:
            xr.load_dataset(path, group=name, engine="h5netcdf")

    own, other = seconds(lambda: write_sealed(path, netcdf(root, groups))), seconds(by_xarray)
    print(f"tables of a fit written: {own:.4f} s, {other / own:.1f} times as long by xarray")
    own, other = seconds(lambda: read_groups(read_sealed(path), tuple(groups))), seconds(read_by_xarray)
    print(f"read: {own:.4f} s, {other / own:.1f} times as long by xarray")


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        two_theta = np.arange(18.0, 140.01, 0.02)
        counts = np.random.default_rng(1).poisson(200.0, len(two_theta))
        pattern = folder / "scan.xy"
        np.savetxt(pattern, np.column_stack([two_theta, counts]), fmt=["%.4f", "%d"])
        plain = seconds(lambda: np.loadtxt(pattern))
        spent = seconds(lambda: read_pattern(pattern))
        print(f"read_pattern, {len(two_theta)} points: {spent:.4f} s, {spent / plain:.1f} times numpy.loadtxt")

        sample(folder)

        samples = "".join(f'[[samples]]\nname = "s{k}"\npattern = "scan.xy"\n' for k in range(SAMPLES))
        text = f'title = "many"\n[instrument]\nfile = "instrument.toml"\n{samples}'
        (folder / "study.toml").write_text(text)
        (folder / "instrument.toml").write_text("")
        plain = seconds(lambda: tomllib.loads(text))
        spent = seconds(lambda: read_study(folder))
        print(f"read_study, {SAMPLES} samples: {spent:.3f} s, {spent / plain:.1f} times tomllib")


if __name__ == "__main__":
    main()
