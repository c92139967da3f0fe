"""Sphinx: pages in MyST, docstrings in numpydoc; what can be computed is computed first. Needs no network."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import api_pages  # noqa: E402
import figures  # noqa: E402
import generate  # noqa: E402
import inventories  # noqa: E402

import agree  # noqa: E402

project = "agree"
author = copyright = "the agree contributors"
version = release = agree.__version__
extensions = ["myst_parser", "numpydoc", "sphinx.ext.autodoc", "sphinx.ext.intersphinx", "sphinx_copybutton",
              "sphinx_design", "mathml"]
exclude_patterns = ["_build", "generated/*.md", "measured"]
myst_enable_extensions = ["colon_fence", "deflist", "dollarmath", "substitution"]
myst_heading_anchors = 3
myst_substitutions = generate.constants() | {"planned": figures.planned(), "looked": figures.looked()}
autodoc_typehints = "none"
autodoc_member_order = "bysource"
numpydoc_show_class_members = False
numpydoc_xref_param_type = True
numpydoc_xref_ignore = "all"
numpydoc_xref_aliases = {
    "array_like": ":term:`numpy:array_like`", "ndarray": "numpy.ndarray", "Generator": "numpy.random.Generator",
    "DataFrame": "pandas.DataFrame", "Axes": "matplotlib.axes.Axes",
    **{name: f"agree.{name}" for name in agree.__all__ if name[0].isupper()},
}
html_math_renderer = "mathml"
html_theme = "pydata_sphinx_theme"
html_theme_options = {
    "logo": {"text": "agree"},
    "navbar_end": ["theme-switcher"],
    "footer_start": ["copyright"],
    "footer_end": [],
    "show_prev_next": True,
    "secondary_sidebar_items": ["page-toc"],
    "show_toc_level": 2,
    "pygments_light_style": "a11y-high-contrast-light",
    "pygments_dark_style": "a11y-high-contrast-dark",
}
html_title = "agree"
html_sidebars = {page: [] for page in ("index", "gallery", "changelog")}
html_show_sourcelink = False
html_show_sphinx = False
html_css_files = ["agree.css"]
html_static_path = ["static"]
copybutton_prompt_text = r">>> |\.\.\. |\$ "
copybutton_prompt_is_regexp = True
copybutton_exclude = ".linenos, .gp, .go"

generate.everything(HERE / "generated")
api_pages.write(HERE / "generated")
intersphinx_mapping = inventories.write(HERE / "generated" / "inventories")


def bars(app, what, name, obj, options, lines):
    """Docstrings are read in a terminal too, where |x| is an absolute value and no substitution."""
    lines[:] = [line if line.lstrip().startswith((">>>", "...")) else line.replace("|", "\\|") for line in lines]


def setup(app):
    app.connect("autodoc-process-docstring", bars)
