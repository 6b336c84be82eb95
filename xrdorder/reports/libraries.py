"""Which libraries the numbers were made with, and under which licences."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, metadata

_USED = (
    "numpy", "scipy", "lmfit", "xarray", "matplotlib", "gemmi", "h5netcdf", "h5py", "pydantic", "jinja2", "click",
    "rich",
)  # fmt: skip
_LONG = 40  # the whole text of a licence stands in some


def libraries() -> list[tuple[str, str, str]]:
    """Name, version and licence of each library, as its package says."""
    versions = []
    for name in _USED:
        try:
            told = metadata(name)
        except PackageNotFoundError:
            continue
        given = [told[key] for key in ("License-Expression", "License") if key in told]
        classes = [line for line in told.get_all("Classifier") or () if line.startswith("License")]
        short = [text for text in given if 0 < len(text) <= _LONG] or [line.split(" :: ")[-1] for line in classes]
        licence = short[0] if short else "see its package"
        versions.append((name, str(told["Version"]), licence))
    return versions
