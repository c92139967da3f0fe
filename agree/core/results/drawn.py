"""`Drawn`: results that have a picture."""

from __future__ import annotations

from typing import Any

from agree.core.results.result import Result
from agree.core.results.seam import rendered


class Drawn(Result):
    """A result whose stored numbers can be drawn; a result without a picture has no `plot`."""

    __slots__ = ()

    def plot(self, ax: Any = None) -> Any:
        """Draw the stored numbers.

        Parameters
        ----------
        ax : matplotlib Axes, optional
            Where to draw; a new figure if not given.

        Returns
        -------
        Axes
            ``.figure`` is the figure, to be saved with ``.figure.savefig``.
        """
        return rendered("picture", self, ax)
