"""Try readers for minutes: ``python -m tests.fuzz --minutes 5 [--reader cif] [--first 1000]``."""

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.fuzz.cases import content, trouble
from tests.fuzz.readers import readers

_MOST_MEMORY = 3 * 2**30


def main() -> int:
    """Print each new trouble with the number of its case; return how many there are."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz")
    parser.add_argument("--minutes", type=float, default=5.0, help="for all readers together")
    parser.add_argument("--reader", action="append", help="name of a reader; may be repeated")
    parser.add_argument("--first", type=int, default=100_000, help="number of the first case")
    parser.add_argument("--keep", type=Path, help="folder for the files that made trouble")
    options = parser.parse_args()
    _hold()
    bad = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        chosen = [one for one in readers(folder) if not options.reader or one.name in options.reader]
        for reader in chosen:
            (folder / reader.name).mkdir()
            end = time.monotonic() + 60.0 * options.minutes / len(chosen)
            number, told, slowest = options.first, set[str](), (0.0, 0)
            while time.monotonic() < end:
                data = content(reader, number)
                start = time.monotonic()
                said = trouble(reader, data, folder / reader.name)
                slowest = max(slowest, (time.monotonic() - start, number))
                if said and said[:40] not in told:
                    told.add(said[:40])
                    print(f"{reader.name} {number}: {said}", flush=True)
                    if options.keep:
                        (options.keep / f"{reader.name}-{number}-{reader.file}").write_bytes(data)
                number += 1
            cases = number - options.first
            print(f"{reader.name}: {cases} cases, the slowest ({slowest[1]}) {slowest[0]:.2g} s", flush=True)
            bad += len(told)
    return min(bad, 100)


def _hold() -> None:
    """Hold memory to a limit, so that a reader that asks for more ends in an error."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, resource.getrlimit(resource.RLIMIT_AS)[1]))


if __name__ == "__main__":
    sys.exit(main())
