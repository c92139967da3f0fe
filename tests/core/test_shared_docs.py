"""Texts that docstrings share: said once, filled in whole, and no line that stands for a text is left."""

import inspect

import pytest

import agree
from agree.core.shared_docs import LINE, TEXTS, shared
from tests.each import each


def test_a_line_becomes_its_texts_at_its_indent():
    @shared
    def sample():
        """Title.

        Parameters
        ----------
        {level, nan_policy}
        """

    doc = inspect.getdoc(sample).splitlines()
    assert doc[3:] == ["-" * 10, *TEXTS["level"].strip().splitlines(), *TEXTS["nan_policy"].strip().splitlines()]


def test_sets_of_choices_and_formulas_stay_as_they_are():
    @shared
    def sample():
        """Title: {"a", "b"}, {level} in a line, {S_xy}."""

    assert sample.__doc__ == 'Title: {"a", "b"}, {level} in a line, {S_xy}.'


def test_a_line_that_names_no_text_is_an_error():
    def sample():
        """Title.

        {no_such_text}
        """

    with pytest.raises(KeyError, match="no_such_text"):
        shared(sample)


def test_without_docstrings_nothing_happens():
    assert shared(lambda: None).__doc__ is None


@each("name", [name for name in agree.__all__ if name != "__version__"])
def test_no_public_docstring_holds_an_unfilled_line(name):
    assert not LINE.search(getattr(agree, name).__doc__)
