"""How the pages of this folder become a site: ``sphinx-build -W -b html docs build/docs``, without network."""

from importlib.metadata import version as version_of

project = "xrdorder"
author = "the authors of xrdorder"
copyright = "the authors of xrdorder; BSD-3-Clause"
version = release = version_of("xrdorder")

extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "sphinx.ext.napoleon",
    "sphinx.ext.mathjax",
    "sphinx-mathjax-offline",
]
source_suffix = {".md": "markdown"}
myst_enable_extensions = ["dollarmath", "deflist"]
myst_heading_anchors = 3

highlight_language = "text"  # blocks without a language are commands and screens
html_theme = "furo"
html_title = "xrdorder"
html_copy_source = False
autodoc_typehints = "none"  # shapes and units stand in the docstrings
autodoc_member_order = "bysource"
napoleon_use_ivar = True  # attributes of a docstring are not described twice
