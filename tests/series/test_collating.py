"""Chunks are joined one at a time, and their table is written a row at a time."""

import tracemalloc
from collections import deque
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr

from xrdorder.files.atomic import write_table
from xrdorder.series import furnace_run as home
from xrdorder.series.chunks import table

EDGES = np.linspace(20.0, 100.0, 5)


def chunk(rows, first):
    """As `do_chunk` stores it."""
    dataset = table(rows, np.arange(first, first + len(rows), dtype=float), np.full(len(rows), 650.0))
    return dataset.assign(intensity=(("frame", "angle"), np.full((len(rows), 4), float(first), dtype=np.float32)))


@pytest.fixture
def collated(monkeypatch):
    """Two chunks, of which only the second has an A15; the rate of one frame is far below the others."""
    usual = {"status": "ok", "reason": "", "counts_per_s": 100.0}
    lit, dark = {**usual, "a_nm": 0.5288}, {**usual, "a_nm": 0.5289, "counts_per_s": 1.0}
    tables = [chunk([usual] * 3, 0), chunk([lit, dark], 3)]
    monkeypatch.setattr(home, "stored", lambda k: tables[k])
    return home._collated([SimpleNamespace(target=k, first=3 * k, last=3 + 2 * k, edges=EDGES) for k in (0, 1)])


def test_what_a_chunk_does_not_have_is_nan_and_a_frame_without_beam_has_nothing(collated):
    np.testing.assert_array_equal(collated["a_nm"], [np.nan, np.nan, np.nan, 0.5288, np.nan])
    assert collated["status"].values.tolist() == ["ok"] * 4 + ["no beam"]
    assert collated["intensity"].dtype == np.float32
    np.testing.assert_array_equal(collated["intensity"][:, 0], [0, 0, 0, 3, 3])
    np.testing.assert_array_equal(collated["time_h"], np.arange(5.0))


def test_each_frame_has_a_row(collated, tmp_path):
    write_table(tmp_path / "series.csv", home._rows(collated))
    head, *rows = [line.split(",") for line in (tmp_path / "series.csv").read_text(encoding="utf-8").splitlines()]
    assert head[:3] == ["frame", "time_h", "temperature_c"] and [row[0] for row in rows] == list("01234")
    assert [row[head.index("a_nm")] for row in rows] == ["", "", "", "0.5288", ""]


def test_memory_for_the_rows_does_not_grow_with_frames():
    def peak(frames: int) -> int:
        numbers = {f"x{k}": ("frame", np.random.default_rng(k).random(frames)) for k in range(5)}
        texts = {name: ("frame", np.array(["ok"] * frames, dtype=object)) for name in ("status", "reason")}
        made = xr.Dataset({**numbers, **texts}, coords={"time_h": ("frame", np.arange(float(frames)))})
        tracemalloc.start()
        deque(home._rows(made), maxlen=0)
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(10)  # what is made once is made here
    assert peak(5000) < 2 * peak(500)  # all cells at once would be ten times as many
