"""NeXus files of the present and of older styles; `test_nexus_apart` tests the process they are read in."""

import h5py
import numpy as np
import pytest

from xrdorder.exceptions import PatternError
from xrdorder.patterns import read_pattern

ANGLES = np.round(20.0 + 0.02 * np.arange(50), 2)
COUNTS = np.random.default_rng(1).poisson(200.0, 50)


def _group(parent, name, nx_class, **attrs):
    group = parent.create_group(name)
    group.attrs.update({"NX_class": nx_class, **attrs})
    return group


def _modern(file, units="degree", angles=ANGLES, counts=COUNTS, name="entry"):
    file.attrs["default"] = name
    entry = _group(file, name, "NXentry", default="data")
    data = _group(entry, "data", "NXdata", signal="counts", axes=["two_theta"])
    data["counts"] = counts
    data["two_theta"] = angles
    if units is not None:
        data["two_theta"].attrs["units"] = units
    return entry


def _old(file, style):
    entry = _group(file, "entry", "NXentry")
    data = _group(entry, "data", "NXdata")
    data["data"] = COUNTS.astype(np.int32)
    data["data"].attrs["signal"] = "1" if style == "text" else 1
    data["polar_angle"] = ANGLES
    if style == "axis":
        data["polar_angle"].attrs["axis"] = 1
    if style == "axes":
        data["data"].attrs["axes"] = np.bytes_("polar_angle")
    return entry


def _monopd(file):
    """What the application definition NXmonopd demands."""
    entry = _group(file, "entry", "NXentry")
    entry["definition"] = "NXmonopd"
    instrument = _group(entry, "instrument", "NXinstrument")
    crystal = _group(instrument, "crystal", "NXcrystal")
    crystal["wavelength"] = np.array([1.540593, 1.544427])
    crystal["wavelength"].attrs["units"] = "angstrom"
    detector = _group(instrument, "detector", "NXdetector")
    detector["polar_angle"] = ANGLES
    detector["data"] = COUNTS
    sample = _group(entry, "sample", "NXsample")
    sample["name"] = "wire"
    sample["temperature"] = 295.65
    monitor = _group(entry, "monitor", "NXmonitor")
    monitor["mode"] = "timer"
    monitor["preset"] = 3.0
    data = _group(entry, "data", "NXdata")
    data["polar_angle"] = h5py.SoftLink("/entry/instrument/detector/polar_angle")
    data["data"] = h5py.SoftLink("/entry/instrument/detector/data")


def _write(tmp_path, build, *arguments, name="scan.nxs", **options):
    path = tmp_path / name
    with h5py.File(path, "w", **options) as file:
        build(file, *arguments)
    return path


@pytest.mark.parametrize("style", ["number", "text", "axis", "axes"])
def test_older_style(tmp_path, style):
    pattern = read_pattern(_write(tmp_path, _old, style))
    assert np.array_equal(pattern, COUNTS)
    assert np.array_equal(pattern["two_theta"], ANGLES)


def test_present_style(tmp_path):
    pattern = read_pattern(_write(tmp_path, _modern))
    assert np.array_equal(pattern, COUNTS)
    assert pattern.dtype == np.float64
    assert pattern["counting_time"].attrs["assumed"] == 1


def test_recognised_by_content_and_behind_a_user_block(tmp_path):
    assert np.array_equal(read_pattern(_write(tmp_path, _modern, name="scan.dat")), COUNTS)
    assert np.array_equal(read_pattern(_write(tmp_path, _modern, name="b.nxs", userblock_size=1024)), COUNTS)


def test_powder_definition(tmp_path):
    pattern = read_pattern(_write(tmp_path, _monopd))
    assert np.array_equal(pattern, COUNTS)
    assert pattern.attrs["radiation"] == "cu-ka"
    assert pattern.attrs["temperature_c"] == pytest.approx(22.5)
    assert np.all(pattern["counting_time"] == 3.0)


def test_radians_by_their_unit_are_converted(tmp_path):
    pattern = read_pattern(_write(tmp_path, _modern, "rad", np.radians(ANGLES)))
    assert pattern["two_theta"].values == pytest.approx(ANGLES)


@pytest.mark.parametrize(
    ("units", "factor"), [("1/angstrom", 0.1), ("1/nm", 1.0), ("angstrom", 0), ("nm", 0)]
)
def test_the_unit_tells_q_and_d(tmp_path, units, factor):
    wavelength = 0.154059
    sine = np.sin(np.radians(ANGLES / 2))
    axis = (
        factor * 4 * np.pi * sine / wavelength
        if factor
        else wavelength / (2 * sine) * (10 if units[0] == "a" else 1)
    )
    path = _write(tmp_path, _modern, units, axis)
    pattern = read_pattern(path, radiation="0.154059 nm")
    assert pattern["two_theta"].values == pytest.approx(ANGLES, abs=1e-9)
    with pytest.raises(PatternError, match="give the radiation"):
        read_pattern(path)


def test_uncertainties_times_and_flat_dimensions(tmp_path):
    def build(file):
        entry = _modern(file, counts=(COUNTS / 3.0).reshape(1, 50))
        entry["data/counts_errors"] = (COUNTS**0.5 / 3.0).reshape(1, 50)
        detector = _group(_group(entry, "instrument", "NXinstrument"), "detector", "NXdetector")
        detector["count_time"] = np.full(50, 2000)
        detector["count_time"].attrs["units"] = "ms"

    pattern = read_pattern(_write(tmp_path, build))
    assert pattern["variance"].values == pytest.approx(COUNTS / 9.0)
    assert np.all(pattern["counting_time"] == 2.0)
    assert pattern.attrs["intensity_kind"] == "intensities"


def test_entries_are_ranges(tmp_path):
    def build(file):
        _modern(file)
        _modern(file, angles=ANGLES + 0.7, name="second")

    pattern = read_pattern(_write(tmp_path, build))
    assert pattern.sizes["two_theta"] == 100
    assert np.all(np.diff(pattern["two_theta"]) >= 0.0)


def test_a_falling_scan_is_turned_round(tmp_path):
    def build(file):
        _modern(file, angles=ANGLES[::-1], counts=COUNTS[::-1])

    pattern = read_pattern(_write(tmp_path, build))
    assert np.array_equal(pattern, COUNTS)
    assert np.array_equal(pattern["two_theta"], ANGLES)


def test_a_file_beside_the_pattern_does_not_matter(tmp_path):
    """A master file with the images of its detector in other files is read as far as it goes."""

    def build(file):
        entry = _modern(file)
        entry["images"] = h5py.ExternalLink("images.h5", "/images")
        layout = h5py.VirtualLayout((50, 9, 9), "u1")
        layout[0] = h5py.VirtualSource("images.h5", "one", (9, 9))
        entry.create_virtual_dataset("gathered", layout)

    assert np.array_equal(read_pattern(_write(tmp_path, build)), COUNTS)


def test_links_to_where_they_stand_are_followed_once(tmp_path):
    """With 300 links a visit by every path would be 8e9 visits."""

    def build(file):
        entry = _modern(file)
        for k in range(300):
            entry[f"again{k}"] = entry if k % 2 else h5py.SoftLink("/entry")
        file["copy"] = entry

    assert np.array_equal(read_pattern(_write(tmp_path, build)), COUNTS)


def _two(file):
    entry = _group(file, "entry", "NXentry")
    for name in ("a", "b"):
        data = _group(entry, name, "NXdata", signal="counts", axes=["two_theta"])
        data["counts"], data["two_theta"] = COUNTS, ANGLES


def _image(file):
    entry = _group(file, "entry", "NXentry")
    data = _group(entry, "data", "NXdata", signal="counts", axes=["y", "x"])
    data["counts"], data["x"], data["y"] = np.ones((5, 50)), ANGLES, np.arange(5)


def _neutrons(file):
    entry = _modern(file)
    _group(_group(entry, "instrument", "NXinstrument"), "source", "NXsource")["probe"] = "neutron"


def _nan(file):
    counts = COUNTS.astype(float)
    counts[3] = np.nan
    _modern(file, counts=counts)


def _without_counts(file):
    entry = _group(file, "entry", "NXentry")
    data = _group(entry, "data", "NXdata", signal="counts", axes=["two_theta"])
    data["two_theta"] = ANGLES
    return data


def _link_out(file):
    _without_counts(file)["counts"] = h5py.ExternalLink("elsewhere.h5", "/counts")


def _soft_link_out(file):
    _without_counts(file)["counts"] = h5py.SoftLink("/entry/there")
    file["entry/there"] = h5py.ExternalLink("elsewhere.h5", "/counts")


def _path_out(file):
    data = _without_counts(file)
    file["entry/there"] = h5py.ExternalLink("elsewhere.h5", "/")
    data.attrs["signal"] = "/entry/there/counts"


def _stored_outside(file):
    _without_counts(file).create_dataset("counts", (50,), "u1", external=[("/etc/passwd", 0, 50)])


def _virtual(file):
    layout = h5py.VirtualLayout((50,), "u1")
    layout[:] = h5py.VirtualSource("elsewhere.h5", "counts", (50,))
    _without_counts(file).create_virtual_dataset("counts", layout)


def _circle(file):
    data = _without_counts(file)
    data["counts"] = h5py.SoftLink("again")
    data["again"] = h5py.SoftLink("counts")


def _spallation(file):
    source = _group(_group(_modern(file), "instrument", "NXinstrument"), "source", "NXsource")
    source["type"] = "Spallation Neutron Source"


_NOT_FOLLOWED = (
    "scan.nxs: the numbers of /entry/data/counts stand in another file, which is not followed; export it whole"
)
BAD = {
    "nothing in it": (lambda file: None, "no NXdata with a signal"),
    "an image": (_image, "no NXdata with a signal"),
    "a link to another file": (
        _link_out,
        "(/entry/data/counts is a link to another file, elsewhere.h5; those are not followed)",
    ),
    "a link to a link to another file": (_soft_link_out, "is a link to another file, elsewhere.h5"),
    "a path through another file": (_path_out, "is a link to another file, elsewhere.h5"),
    "numbers in another file": (_stored_outside, _NOT_FOLLOWED),
    "numbers gathered from other files": (_virtual, _NOT_FOLLOWED),
    "links in a circle": (_circle, "no NXdata with a signal"),
    "a spallation source": (_spallation, "/entry/instrument/source: measured with neutrons"),
    "two groups": (_two, "several NXdata groups"),
    "neutrons": (_neutrons, "measured with neutrons"),
    "NaN": (_nan, "/entry/data, point 4: the intensity is not a finite number"),
    "unit of something else": (lambda file: _modern(file, "mm"), "has the unit 'mm'"),
    "radians without a unit": (lambda file: _modern(file, None, np.radians(ANGLES)), "look like radians"),
    "neither up nor down": (
        lambda file: _modern(file, "degree", np.roll(ANGLES, 3)),
        "angle 20 runs backwards in a range; sort the points, or give each scan its own block or entry",
    ),
    "an angle twice": (
        lambda file: _modern(file, "degree", np.repeat(ANGLES[:25], 2)),
        "delete one, or give each scan its own block or entry",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_files_get_one_clear_line(tmp_path, case):
    build, message = BAD[case]
    with pytest.raises(PatternError) as error:
        read_pattern(_write(tmp_path, build))
    assert message in str(error.value)
    assert str(error.value).startswith("scan.nxs: ")
    assert "\n" not in str(error.value)


def test_truncated_file(tmp_path):
    # Bytes that are wrong inside a whole file are another matter: they can hang the HDF5 library itself.
    whole = _write(tmp_path, _modern).read_bytes()
    path = tmp_path / "short.nxs"
    for length in range(8, len(whole), 97):
        path.write_bytes(whole[:length])
        with pytest.raises(PatternError, match=r"short\.nxs: damaged or truncated HDF5") as error:
            read_pattern(path)
        assert "\n" not in str(error.value)
        assert "file id" not in str(error.value).lower()  # words of the library


def test_no_hdf5_in_spite_of_its_name(tmp_path):
    path = tmp_path / "scan.nxs"
    path.write_text("20 10\n21 12\n")
    with pytest.raises(PatternError, match="not an HDF5 file"):
        read_pattern(path)
