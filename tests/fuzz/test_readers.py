"""Some hundred files for each reader that nobody meant; `python -m tests.fuzz` tries more."""

from pathlib import Path

import pytest

from tests.fuzz.cases import TooLong, content, trouble
from tests.fuzz.readers import Reader, readers
from xrdorder.exceptions import PatternError

NAMES = [
    "text", "cif", "nexus", "nexus-tree", "phase-cif", "phase-toml", "instrument", "relations", "tin-scale",
    "known-samples", "directions", "log", "study", "samples",
]  # fmt: skip


@pytest.fixture(scope="module")
def by_name(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Reader]:
    return {reader.name: reader for reader in readers(tmp_path_factory.mktemp("seeds"))}


def test_every_reader_is_tried(by_name: dict[str, Reader]) -> None:
    assert list(by_name) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_result_or_one_line(by_name: dict[str, Reader], name: str, tmp_path: Path) -> None:
    reader = by_name[name]
    found = {k: trouble(reader, content(reader, k), tmp_path) for k in range(reader.quick)}
    assert {k: said for k, said in found.items() if said} == {}


def _raise(error: BaseException) -> None:
    raise error


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (KeyError("a"), "KeyError: 'a'"),
        (RecursionError("deep"), "RecursionError: deep"),
        (PatternError("one\ntwo"), "2 lines"),
        (PatternError(""), "an empty line"),
        (TooLong(), "not read within"),
        (PatternError("one line"), ""),
    ],
)
def test_a_reader_that_does_what_it_must_not_is_found(error: BaseException, said: str, tmp_path: Path) -> None:
    reader = Reader("bad", "a.xy", lambda _: b"", lambda _: _raise(error))
    assert trouble(reader, b"", tmp_path)[: len(said)] == said
    assert bool(said) == bool(trouble(reader, b"", tmp_path))
