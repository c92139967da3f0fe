"""Formulas as MathML: every browser of today sets it, with no script, no font and no network."""

from __future__ import annotations

from typing import Any

from docutils import nodes
from latex2mathml import converter


def inline(self: Any, node: nodes.math) -> None:
    """Set a formula in a line of text."""
    self.body.append(converter.convert(node.astext()))
    raise nodes.SkipNode


def block(self: Any, node: nodes.math_block) -> None:
    """Set a formula on a line of its own."""
    self.body.append(self.starttag(node, "div", CLASS="math"))
    self.body.append(converter.convert(node.astext(), display="block"))
    self.body.append("</div>\n")
    raise nodes.SkipNode


def setup(app: Any) -> dict[str, Any]:
    """Register the renderer with Sphinx."""
    app.add_html_math_renderer("mathml", inline_renderers=(inline, None), block_renderers=(block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
