"""Sphinx: pages in MyST, docstrings in numpydoc; what can be computed is computed before the build."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import generate  # noqa: E402

import agree  # noqa: E402

project = "agree"
author = copyright = "the agree contributors"
version = release = agree.__version__
extensions = ["myst_parser", "numpydoc", "sphinx.ext.autodoc"]
exclude_patterns = ["_build", "generated", "measured"]
myst_enable_extensions = ["deflist", "dollarmath", "substitution"]
myst_heading_anchors = 3
myst_substitutions = generate.constants()
autodoc_typehints = "none"
autodoc_member_order = "bysource"
numpydoc_show_class_members = False
html_theme = "alabaster"
html_theme_options = {"description": "Does a device keep its maker's claim?", "page_width": "64rem"}
html_show_sourcelink = False

generate.everything(HERE / "generated")


def bars(app, what, name, obj, options, lines):
    """Docstrings are read in a terminal too, where |x| is an absolute value and no substitution."""
    lines[:] = [line if line.lstrip().startswith((">>>", "...")) else line.replace("|", "\\|") for line in lines]


def setup(app):
    app.connect("autodoc-process-docstring", bars)
