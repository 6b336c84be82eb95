"""Stored results under attack: damaged at random, runs killed at any moment, a disk that is full.

After each the next run must give the same `results.csv`, byte by byte. By hand, with real fits::

    python -m tests.fuzz.stored_files --damages 100 --kills 100 --full 40

prints a line for each kind and ends with 1 where anything went wrong. Runs that are killed or meet a full disk are
children of this process in which fits are taken from memory: most of their time is then spent on what is tried, the
keeping of results.
"""

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

from tests.generator import InstrumentTruth, PhaseTruth, SampleTruth, simulate, simulate_standard
from tests.running.conftest import GRID, HEADER, LENGTH_MM, SAMPLES, write_pattern
from xrdorder import fitting
from xrdorder.exceptions import StudyError
from xrdorder.running import fit_sample as work
from xrdorder.running.run import run_study

NAMES = ("good", "niobium")
TABLE = "results/results.csv"
REFUSED, CRASHED = 3, 4


def make_study(folder: Path, names: tuple[str, ...] = NAMES) -> Path:
    """Write a study of short invented patterns."""
    (folder / "patterns").mkdir(parents=True)
    instrument, niobium = InstrumentTruth(), PhaseTruth("nb", 0.1, 0.33010)
    truths = {
        "good": SampleTruth(tin_fraction=0.24, order_a=0.97, others=(niobium,), displacement_mm=0.02),
        "niobium": SampleTruth(others=(PhaseTruth("nb", 1.0, 0.33010),)),
    }
    standard = simulate_standard(instrument, "srm-660c", GRID, specimen_length_mm=LENGTH_MM, seed=1)
    write_pattern(folder / "patterns/lab6.xy", standard)
    for seed, name in enumerate(names, start=2):
        write_pattern(folder / f"patterns/{name}.xy", simulate(truths[name], instrument, GRID, seed=seed))
    blocks = [f'[[samples]]\nname = "{name}"\n{SAMPLES[name]}' for name in names]
    (folder / "study.toml").write_text("\n".join([HEADER, *blocks]), encoding="utf-8")
    return folder


# --- damages ---------------------------------------------------------------------------------------------


def _flip(path: Path, rng: random.Random) -> None:
    content = bytearray(path.read_bytes())
    for _ in range(rng.choice((1, 1, 1, 8))):
        content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
    path.write_bytes(content)


def _cut(path: Path, rng: random.Random) -> None:
    content = path.read_bytes()
    path.write_bytes(content[: rng.randrange(len(content))])


def _blank(path: Path, rng: random.Random) -> None:
    """A block of zeros, as a power cut leaves it."""
    content = bytearray(path.read_bytes())
    start = rng.randrange(len(content))
    content[start : start + 512] = bytes(len(content[start : start + 512]))
    path.write_bytes(content)


def _noise(path: Path, rng: random.Random) -> None:
    path.write_bytes(rng.randbytes(rng.randrange(4000)))


def _longer(path: Path, rng: random.Random) -> None:
    path.write_bytes(path.read_bytes() + rng.randbytes(rng.randrange(1, 400)))


def _digit(path: Path, rng: random.Random) -> None:
    """Another digit where there are digits, so that the file stays readable."""
    content = bytearray(path.read_bytes())
    places = [k for k, byte in enumerate(content) if 48 <= byte <= 57]
    if places:
        k = rng.choice(places)
        content[k] = 48 + (content[k] - 47) % 10
    path.write_bytes(content)


def _of_another(path: Path, rng: random.Random) -> None:
    others = sorted(one for one in path.parent.iterdir() if one.is_file() and one != path and one.suffix == path.suffix)
    path.write_bytes(rng.choice(others).read_bytes() if others else b"")


def _pipe(path: Path, rng: random.Random) -> None:
    path.unlink()
    os.mkfifo(path)


def _gone(path: Path, rng: random.Random) -> None:
    path.unlink()


def _nowhere(path: Path, rng: random.Random) -> None:
    path.unlink()
    path.symlink_to("nowhere")


DAMAGES: tuple[Callable[[Path, random.Random], None], ...] = (
    _flip, _flip, _flip, _cut, _blank, _noise, _longer, _digit, _digit, _of_another, _pipe, _gone, _nowhere,
)  # fmt: skip


@dataclass
class Trials:
    """A study, its table as it must be, and what was found."""

    folder: Path
    rng: random.Random
    good: bytes = b""
    counts: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    fits: dict[str, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        with self._remembering():
            run_study(self.folder, workers=1)
        self.good = (self.folder / TABLE).read_bytes()
        self.kept = self.folder.with_name("kept")
        shutil.copytree(self.folder / "results", self.kept)

    def restore(self) -> None:
        """Put undamaged results back."""
        shutil.rmtree(self.folder / "results", ignore_errors=True)
        shutil.copytree(self.kept, self.folder / "results")

    def check(self, kind: str, what: str) -> None:
        """Run once more and compare."""
        self.counts[kind] += 1
        try:
            run_study(self.folder, workers=1)
        except Exception as error:  # whatever it is, it is what is looked for
            self.wrong.append(f"{what}: {type(error).__name__}: {error}")
            return
        if (self.folder / TABLE).read_bytes() != self.good:
            self.wrong.append(f"{what}: another results.csv")
        if left := list((self.folder / "results").rglob("*.part")):
            self.counts["files left by killed runs, swept away an hour later"] += len(left)
            for part in left:
                part.unlink()

    def damage(self, number: int) -> None:
        """Damage one stored file at a time."""
        for _ in range(number):
            files = sorted(one for one in (self.folder / "results").rglob("*") if one.is_file() and one.name != ".lock")
            path, how = self.rng.choice(files), self.rng.choice(DAMAGES)
            how(path, self.rng)
            self.check("damages", f"{path.name}, {how.__name__}")
            if self.wrong:
                self.restore()

    def kill(self, number: int) -> None:
        """Kill runs at random moments, half of them over nothing, half over damaged results."""
        shutil.rmtree(self.folder / "results")
        longest = self._child(None)[1]
        for k in range(number):
            if k % 2:
                shutil.rmtree(self.folder / "results")
            else:
                for path in (self.folder / "results/samples").glob("*.nc"):
                    _flip(path, self.rng)
            after = self.rng.uniform(0.0, longest)
            code, _ = self._child(after)
            self.counts["runs killed before their end"] += code == -signal.SIGKILL
            with self.remembered():
                self.check("kills", f"killed after {after:.3f} s")

    def full(self, number: int) -> None:
        """Let no file grow beyond a random size: the system refuses in the middle of a file, as a full disk does."""
        largest = max(one.stat().st_size for one in self.kept.rglob("*") if one.is_file())
        for _ in range(number):
            shutil.rmtree(self.folder / "results")
            limit = self.rng.randrange(largest)
            code, _ = self._child(None, limit)
            self.counts["runs that met the full disk, and said so"] += code == REFUSED
            if code not in (0, REFUSED):
                self.wrong.append(f"full disk at {limit} bytes: ended with {code}")
            with self.remembered():
                self.check("full disks", f"full disk at {limit} bytes")

    def _child(self, kill_after: float | None, limit: int | None = None) -> tuple[int, float]:
        """Run in a child process, killed after a time or with a limit of file sizes: exit code and time."""
        start = time.monotonic()
        child = os.fork()
        if child == 0:
            code = CRASHED
            try:
                if limit is not None:
                    import resource  # not on every system

                    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
                with self.remembered():
                    run_study(self.folder, workers=1)
                code = 0
            except StudyError:
                code = REFUSED
            finally:
                os._exit(code)
        if kill_after is not None:
            time.sleep(kill_after)
            os.kill(child, signal.SIGKILL)
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), time.monotonic() - start

    @contextmanager
    def _remembering(self) -> Iterator[None]:
        """Keep every fit that is made."""
        calibrate, fit = fitting.calibrate, work.fit_pattern

        def keep(make: Callable[..., object]) -> Callable[..., object]:
            def made(pattern, *args, **kwargs):
                return self.fits.setdefault(pattern.attrs["source_file"], make(pattern, *args, **kwargs))

            return made

        with ExitStack() as stack:
            stack.enter_context(patch.object(fitting, "calibrate", keep(calibrate)))
            stack.enter_context(patch.object(work, "fit_pattern", keep(fit)))
            yield

    @contextmanager
    def remembered(self) -> Iterator[None]:
        """Take fits from memory."""

        def known(pattern, *args, **kwargs):
            return self.fits[pattern.attrs["source_file"]]

        with patch.object(fitting, "calibrate", known), patch.object(work, "fit_pattern", known):
            yield


def main() -> int:
    """Try it and say what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    for name, number in (("damages", 100), ("kills", 100), ("full", 40), ("seed", 0)):
        parser.add_argument(f"--{name}", type=int, default=number)
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        trials = Trials(make_study(Path(folder) / "study"), random.Random(told.seed))
        trials.damage(told.damages)
        trials.kill(told.kills)
        trials.full(told.full)
    for kind, number in trials.counts.items():
        print(f"{number:6d} {kind}")
    print(f"{len(trials.wrong):6d} wrong", *trials.wrong, sep="\n       ")
    return int(bool(trials.wrong))


if __name__ == "__main__":
    sys.exit(main())
