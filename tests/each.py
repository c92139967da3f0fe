"""Many small cases in one test: pytest needs longer to list and report a test of its own than such a case takes."""

import inspect
from functools import wraps


def each(names, cases, ids=None):
    """Try all cases in one test, as `parametrize` would in one test each; all that fail are named and shown.

    Parameters
    ----------
    names : str or tuple of str
        Arguments of the test that a case gives.
    cases : iterable
        A value, or for several arguments one tuple of them, for each case.
    ids : iterable of str or callable, optional
        Names of the cases, or what makes one of a value; else their values.
    """
    words = [names] if isinstance(names, str) else list(names)
    rows = [(case,) if isinstance(names, str) else tuple(case) for case in cases]
    assert rows, "no case: this test could not fail"
    assert all(len(row) == len(words) for row in rows), f"each case must give {names}"
    if callable(ids):
        ids = [", ".join(str(ids(item)) for item in row) for row in rows]
    said = [", ".join(map(repr, row)) for row in rows] if ids is None else list(ids)
    assert len(said) == len(rows), f"{len(said)} names of {len(rows)} cases"

    def decorate(test):
        @wraps(test)
        def every(**fixtures):
            failed = []
            for row, name in zip(rows, said, strict=True):
                try:
                    test(**fixtures, **dict(zip(words, row, strict=True)))
                except Exception as error:
                    shown = error.exceptions if isinstance(error, Failed) else [error]
                    for one in shown:
                        one.add_note(f"the case: {name}")
                    failed += shown
            if failed:
                raise Failed(f"{len(failed)} cases failed", failed)

        whole = inspect.signature(test)
        every.__signature__ = whole.replace(
            parameters=[item for name, item in whole.parameters.items() if name not in words])
        return every

    return decorate


class Failed(ExceptionGroup):
    """What failed of the cases of one test."""

    def derive(self, excs):
        return Failed(self.message, excs)
