"""Tests share two cores with each other: no library may start threads of its own.

Logs of what nobody foresaw go to a folder that is removed at the end. Examples that hypothesis makes up are the same in
every run where CI is set: what was green there stays green; elsewhere each run tries new ones.
"""

import atexit
import os
import shutil
import tempfile

from hypothesis import settings

settings.register_profile("xrdorder", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("xrdorder")

_STATE = tempfile.mkdtemp(prefix="xrdorder-tests-")
os.environ["XDG_STATE_HOME"] = _STATE
atexit.register(shutil.rmtree, _STATE, ignore_errors=True)

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
