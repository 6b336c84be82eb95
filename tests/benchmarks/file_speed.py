"""How long reading and recognising take, as ratios to plain reading of the same bytes in the same run.

Run from the checkout: ``python -m tests.benchmarks.file_speed``. Nothing here is asserted.
"""

import tempfile
import tomllib
from pathlib import Path

import numpy as np

from tests.benchmarks.fit_speed import seconds
from xrdorder.description.study import read_study
from xrdorder.patterns import read_pattern

SAMPLES = 500


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

        samples = "".join(f'[[samples]]\nname = "s{k}"\npattern = "scan.xy"\n' for k in range(SAMPLES))
        text = f'title = "many"\n[instrument]\nfile = "instrument.toml"\n{samples}'
        (folder / "study.toml").write_text(text)
        (folder / "instrument.toml").write_text("")
        plain = seconds(lambda: tomllib.loads(text))
        spent = seconds(lambda: read_study(folder))
        print(f"read_study, {SAMPLES} samples: {spent:.3f} s, {spent / plain:.1f} times tomllib")


if __name__ == "__main__":
    main()
