"""What a fit and its interpretation look at in a description is what its keys say of themselves."""

import math

import pytest

from tests import descriptions
from xrdorder.description.lots import Lot
from xrdorder.description.measurement import Choices, Measurement, Reading
from xrdorder.description.own_files import OwnFiles
from xrdorder.description.sample import Sample
from xrdorder.files.checked_table import FIT, INTERPRETATION, NOBODY
from xrdorder.profiles import Instrument
from xrdorder.results.sample_file import Provenance
from xrdorder.running import fit_sample

ALL = (FIT, INTERPRETATION, NOBODY)


class Watched:
    """A table that notes which of its keys are looked at; its properties look for themselves."""

    def __init__(self, table, seen):
        self.table, self.seen = table, seen

    def __getattr__(self, name):
        own = getattr(type(self.table), name, None)
        if isinstance(own, property):
            return own.fget(self)
        if name in type(self.table).model_fields:
            self.seen.add((type(self.table), name))
        value = getattr(self.table, name)
        return Watched(value, self.seen) if isinstance(value, Lot) else value


class Done(Exception):
    """All that is handed to the fit has been gathered."""


def looked_at(work):
    seen = set()
    lot = descriptions.lot("A", dopant_at_percent={"Ta": 2.4}, on_tin_site={"Ta": 0.3})
    work(Watched(descriptions.sample("a", lot), seen))
    return {(Lot if of is Lot else Sample, name) for of, name in seen}


def marked(*who):
    return {(table, name) for table in (Sample, Lot) for name in table.keys_seen_by(*who)}


def test_the_fit_sees_what_is_marked_for_it(monkeypatch, tmp_path):
    def gathered(*_, **__):
        raise Done

    monkeypatch.setattr(fit_sample, "require_files", lambda paths: None)
    monkeypatch.setattr(fit_sample, "read_patterns", lambda *_, **__: None)
    monkeypatch.setattr(fit_sample, "fit_pattern", gathered)

    def work(sample):
        task = fit_sample.Task(sample, (), "own", instrument, tmp_path, Provenance(), OwnFiles())
        with pytest.raises(Done):
            fit_sample._fit(task)

    instrument = Instrument.__new__(Instrument)
    object.__setattr__(instrument, "radiation", "cu-ka")
    # paths are read, and their content counts; the lot is a table of its own
    besides = {(Sample, "pattern"), (Sample, "lot")}
    assert looked_at(work) - besides == marked(FIT)


def test_the_interpretation_sees_no_more_than_is_marked():
    seen = looked_at(lambda sample: Sample.specimen(sample, "ground-powder", math.nan))
    # the name of the lot and the reaction temperature, which the treatment tells, stand in the provenance by themselves
    besides = {(Lot, "name"), (Sample, "lot"), (Sample, "treatment")}
    assert seen - besides <= marked(FIT, INTERPRETATION)
    assert marked(INTERPRETATION) <= seen


@pytest.mark.parametrize("table", [Sample, Lot, Measurement, Reading, Choices])
def test_every_key_says_who_sees_it(table):
    assert table.keys_seen_by(*ALL) == set(table.keys())
