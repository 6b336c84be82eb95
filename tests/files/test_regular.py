"""Only regular files of sensible size are opened, by every reader."""

import os

import pytest

from xrdorder.crystals import phase
from xrdorder.description.new_study import study_from_files
from xrdorder.description.study import read_study
from xrdorder.description.values import require_files
from xrdorder.exceptions import StudyError, XrdorderError
from xrdorder.files import MOST_BYTES, read_bytes, read_text, shown
from xrdorder.material.strain_free import read_directions
from xrdorder.material.tin_scale_files import read_known_samples, read_tin_scale
from xrdorder.patterns import read_pattern
from xrdorder.profiles.instrument import read_instrument
from xrdorder.relations.own import read_relations
from xrdorder.treatments.logged import read_log

READERS = {
    "a.xy": read_pattern,
    "a.cif": phase,
    "a.toml": phase,
    "instrument.toml": read_instrument,
    "relations.toml": read_relations,
    "scale.toml": read_tin_scale,
    "known.csv": read_known_samples,
    "directions.csv": read_directions,
    "log.csv": read_log,
    "study.toml": lambda path: read_study(path.parent),
}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize("name", READERS)
def test_a_pipe_is_refused_without_waiting(tmp_path, name):
    os.mkfifo(tmp_path / name)
    with pytest.raises(XrdorderError, match=r"not a regular file but a pipe or device") as error:
        READERS[name](tmp_path / name)
    assert "\n" not in str(error.value)


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="this system has no endless device")
@pytest.mark.parametrize("name", READERS)
def test_an_endless_device_is_refused(tmp_path, name):
    (tmp_path / name).symlink_to("/dev/zero")
    with pytest.raises(XrdorderError, match="not a regular file but a pipe or device"):
        READERS[name](tmp_path / name)


@pytest.mark.parametrize("name", READERS)
def test_a_file_beyond_reason_is_refused(tmp_path, name):
    with (tmp_path / name).open("wb") as file:
        file.truncate(2**40)  # sparse: takes no place on the disk
    with pytest.raises(XrdorderError, match=r"larger than \d+ MB"):
        READERS[name](tmp_path / name)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipes_that_a_study_names_are_told_as_such(tmp_path):
    (tmp_path / "study.toml").write_text(
        'samples_table = "c"\n[instrument]\nfile = "a.toml"\n[treatments.x]\nlog = "b"\n[[samples]]\nname = "s"\n'
        'pattern = "a"\ntreatment = "x"\n'
    )
    for name in ("a", "b", "c", "a.toml"):
        os.mkfifo(tmp_path / name)
    with pytest.raises(StudyError) as error:
        read_study(tmp_path, to_run=True)
    lines = str(error.value).splitlines()
    assert len(lines) == 4 and all("pipe or device" in line for line in lines), lines
    with pytest.raises(StudyError, match="is a pipe or device; name a regular file"):
        require_files((tmp_path / "a",))


def test_what_is_read(tmp_path):
    path = tmp_path / "a.txt"
    path.write_bytes("\ufeffä\r\nb\rc\n".encode())
    assert read_text(path) == "ä\nb\nc\n"
    assert read_bytes(path, most=11) == path.read_bytes()
    with pytest.raises(OSError, match="larger than"):
        read_bytes(path, most=5)
    assert MOST_BYTES >= 2**20


def test_files_without_a_size_are_read_to_their_end():
    if not os.path.exists("/proc/self/status"):
        pytest.skip("this system shows no processes as files")
    assert os.stat("/proc/self/status").st_size == 0
    assert b"Name:" in read_bytes("/proc/self/status")


def test_a_name_of_other_bytes_can_be_told(tmp_path):
    path = tmp_path / os.fsdecode(b"wire\xe4.xy")
    try:
        path.write_text("20.0 5\n20.1 7\n20.2 6\n20.3 9\n")
    except OSError:
        pytest.skip("this system has no such names")
    assert read_pattern(path).attrs["source_file"] == "wire?.xy"
    assert shown(tmp_path / "a\nb").endswith("a?b")
    path.write_text("nothing")
    with pytest.raises(XrdorderError) as error:
        read_pattern(path)
    str(error.value).encode()


def test_a_study_for_a_name_of_other_bytes(tmp_path):
    """The study that is written for a fit is UTF-8, and a name that is none cannot stand in it."""
    instrument = tmp_path / "a.toml"
    instrument.write_text("")
    with pytest.raises(StudyError, match=r"wire\?\.xy.*rename") as error:
        study_from_files(tmp_path / "s", [tmp_path / os.fsdecode(b"wire\xe4.xy")], instrument).to_toml()
    assert "\n" not in str(error.value)
